//! What a library that keeps the rules gets and gives.

use crate::library::{case, compile};
use trackproof_c_abi::CSubsystem;
use trackproof_contract::{
    Capabilities, Capability, Item, Observation, Observed, Operation, Profile, Rig, Status,
};

#[test]
fn a_good_library_runs_a_case_as_often_as_asked() {
    let compiled = compile(&[]);
    let library = compiled.open().unwrap();
    assert_eq!(library.name().as_deref(), Some("minimal"));
    let mut rig = library.rig(None).unwrap();
    // Requests and a FIFO every library has.
    assert_eq!(rig.capabilities(), Capabilities::of(&[Capability::Read, Capability::Fifo]));
    assert_eq!(rig.profile(), None);
    let mut observation = Observation::new();
    for _ in 0..3 {
        rig.run(&case(), &mut observation).unwrap();
        let expected = [
            (0, Item::Status(Status::default())),
            (1_100, Item::Word { transfer: 0, value: 0x1122 }),
            (2_100, Item::Word { transfer: 0, value: 0x3344 }),
            (2_100, Item::Done),
            (5_200, Item::Byte { value: 0, fresh: false }),
        ];
        assert_eq!(observation.items, expected.map(|(at_ns, item)| Observed { at_ns, item }));
    }
}

#[test]
fn more_items_than_one_drain_holds_come_in_several() {
    for items in ["1", "2", "4"] {
        assert_eq!(compile(&[("ITEMS_A_DRAIN", items)]).run().unwrap().items.len(), 5);
    }
}

#[test]
fn a_table_that_ends_early_lacks_only_what_is_optional() {
    let compiled = compile(&[("TABLE_BYTES", "offsetof(tp_adapter,last_error)")]);
    assert_eq!(compiled.run().unwrap().items.len(), 5);
    let compiled =
        compile(&[("TABLE_BYTES", "offsetof(tp_adapter,give)-1"), ("RUN", "return TP_FAIL;")]);
    let error = compiled.run().unwrap_err().to_string();
    assert!(error.contains("no reason"), "half a pointer is none: {error}");
}

#[test]
fn a_table_may_be_longer_than_this_version_knows() {
    let compiled = compile(&[("TABLE_BYTES", "sizeof table"), ("NAME", "NULL")]);
    assert_eq!(compiled.open().unwrap().name(), None);
    assert_eq!(compiled.run().unwrap().items.len(), 5);
}

#[test]
fn a_declared_profile_is_the_rigs_and_keys_that_an_old_library_leaves_are_the_defaults() {
    let body = "values[TP_KEY_FIFO_WORDS]=7;return TP_OK;";
    let rig = compile(&[("PROFILE", body)]).open().unwrap().rig(None).unwrap();
    assert_eq!(rig.profile(), Some(Profile { fifo_words: 7, ..Profile::sync_dma() }));
}

#[test]
fn capabilities_that_this_version_does_not_know_are_dropped() {
    let rig = compile(&[("CAPABILITIES", "~0ull")]).open().unwrap().rig(None).unwrap();
    // A controller gets no flux, so that is none of its own either.
    assert_eq!(rig.capabilities(), Capabilities::all().without(Capability::Separator));
}

#[test]
fn a_program_longer_than_one_call_runs_in_several() {
    let compiled = compile(&[]);
    let mut rig = compiled.open().unwrap().rig(None).unwrap();
    let mut case = case();
    if let Operation::Read { service, .. } = &mut case.program[1] {
        service.interval_ns = 1;
    }
    case.program[2] = Operation::Wait { ns: 200_000 };
    let mut observation = Observation::new();
    rig.run(&case, &mut observation).unwrap();
    assert_eq!(observation.items.len(), 5);
}

#[test]
fn subsystems_of_one_library_run_in_threads_and_outlive_it() {
    fn is_send<T: Send>(value: T) -> T {
        value
    }
    let compiled = compile(&[]);
    let library = compiled.open().unwrap();
    let rigs = [library.rig(None).unwrap(), library.rig(Some("")).unwrap()].map(is_send);
    is_send::<CSubsystem>(library.create(None).unwrap());
    drop(library);
    let threads = rigs.map(|mut rig| {
        std::thread::spawn(move || {
            let mut observation = Observation::new();
            (0..50).for_each(|_| rig.run(&case(), &mut observation).unwrap());
            observation
        })
    });
    let [one, two] = threads.map(|thread| thread.join().unwrap());
    assert_eq!(one, two);
}
