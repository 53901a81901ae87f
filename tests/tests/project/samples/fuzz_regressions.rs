//! Case files that a fuzzer, or what it found, has left in `fuzz/regressions`: the correct sample
//! conforms in each. One that is named as a fault of it shows that fault, as the file says.

use std::collections::BTreeMap;
use std::path::Path;
use trackproof::case_file::CaseFile;
use trackproof::examine::Examiner;
use trackproof::verdict::Verdict;
use trackproof_samples::find;

fn files() -> BTreeMap<String, CaseFile> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fuzz/regressions");
    let entries = std::fs::read_dir(&folder).expect("the folder of the regressions");
    entries
        .map(|entry| {
            let path = entry.expect("an entry").path();
            let file = CaseFile::read(&path).unwrap_or_else(|error| panic!("{error}"));
            (path.file_stem().expect("a name").to_string_lossy().into_owned(), file)
        })
        .collect()
}

fn examiner(faults: &[&str]) -> Examiner {
    let sample = find("sync-dma").expect("the sample").open(faults).expect("its library");
    Examiner::new(Box::new(sample.rig().expect("a rig")))
}

#[test]
fn every_regression_conforms_on_the_correct_sample_and_shows_its_fault() {
    let faults = &find("sync-dma").expect("the sample").faults;
    let mut shown = 0;
    for (name, file) in files() {
        let verdict = examiner(&[]).glance(&file.case).expect("a run that can be trusted").verdict;
        assert!(matches!(verdict, Verdict::Conforms), "{name}: {verdict:?}");
        if !faults.iter().any(|fault| fault.name == name) {
            continue;
        }
        let examined = examiner(&[&name]).examine(&file.case);
        match examined.expect("a run that can be trusted").verdict {
            Verdict::Deviates(found) => {
                assert_eq!((found.rule.id, found.kind), (&*file.rule, &*file.kind), "{name}");
            }
            other => panic!("{name}: {other:?}"),
        }
        shown += 1;
    }
    assert!(shown >= 4, "{shown} files are named as faults");
}
