//! `margin`: the table, its JSON, and who is not measured.

use crate::start::told;

#[test]
fn a_window_off_its_centre_shows_on_one_side_and_the_right_one_holds_the_standard() {
    let folder = tempfile::tempdir().unwrap();
    let axes = |name: &str| {
        let line = format!("margin sample:separator{name} --trials 60 --format json");
        let told = told(folder.path(), &line);
        assert_eq!(told.code, 0, "{}", told.err);
        told.json()["axes"].as_array().unwrap().clone()
    };
    let margin = |axes: &[serde_json::Value], name: &str| {
        axes.iter().find(|one| one["name"] == name).unwrap()["margin"].as_f64().unwrap()
    };
    let right = axes("");
    for one in &right {
        if let Some(asked) = one["standard"][0].as_f64() {
            assert!(one["margin"].as_f64().unwrap() >= asked, "{one}");
        }
    }
    let wrong = axes("+window-off-centre");
    let (late, early) = (margin(&wrong, "late-transition"), margin(&wrong, "early-transition"));
    assert!(late > 40.0 && early < 20.0, "late {late}, early {early}");
    assert!(margin(&wrong, "fast-speed") < 10.0 && margin(&wrong, "slow-speed") > 15.0);
    assert!(margin(&right, "early-transition") > 40.0);
}

#[test]
fn the_table_is_the_same_for_any_number_of_threads_and_workers() {
    let folder = tempfile::tempdir().unwrap();
    let line = "margin sample:separator --trials 20 --seed 9";
    let one = told(folder.path(), &format!("{line} --jobs 1"));
    let two = told(folder.path(), &format!("{line} --jobs 2 --in-process"));
    assert_eq!((one.code, two.code), (0, 0), "{}{}", one.err, two.err);
    assert_eq!(one.out, two.out);
    assert!(one.out.contains("one transition late"), "{}", one.out);
}

#[test]
fn a_controller_is_not_measured_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let told_of = |line: &str| told(folder.path(), line);
    let controller = told_of("margin sample:sync-dma");
    assert_eq!((controller.code, controller.out.as_str()), (4, ""));
    assert!(controller.err.contains("is no data separator"), "{}", controller.err);
    assert_eq!(told_of("margin sample:separator --trials 0").code, 2);
    assert_eq!(told_of("margin sample:no-such").code, 2);
}
