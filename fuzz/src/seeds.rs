//! The committed seeds, and how they are made; inputs for the smoke of each target.
//!
//! A seed is a stream of choices, so a change of the generator makes other cases of it: then run
//! `WRITE_SEEDS=1 cargo test --release -p trackproof-fuzz seeds -- --test-threads=1` and commit what
//! that writes.

mod smallest;

use crate::path::Path as Target;
use smallest::Deviating;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use trackproof::generate::{
    ByteChoices, Choices, Generator, RecordedChoices, SeededChoices, case_seed,
};
use trackproof_contract::{Capabilities, Operation, Profile};

/// Cases among which the shortest of each base pattern is taken, and faults are looked for.
const CASES: u64 = 3_000;

/// The run's seed.
const SEED: u64 = 1;

/// What the names of seeds that show a fault begin with.
const FAULT: &str = "fault-";

/// Bytes without a pattern, the same on every machine.
pub(crate) struct Bytes(SeededChoices);

impl Bytes {
    pub(crate) fn new(seed: u64) -> Self {
        Self(SeededChoices::new(seed))
    }

    pub(crate) fn next(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.0.bits(8) as u8).collect()
    }

    /// Changes, removes or repeats a few bytes.
    pub(crate) fn damage(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..self.0.between(1, 4) {
            let at = self.0.below(bytes.len() as u64) as usize;
            match (self.0.below(4), bytes.get(at).copied()) {
                (0 | 1, Some(_)) => bytes[at] = self.0.bits(8) as u8,
                (2, Some(_)) => drop(bytes.remove(at)),
                (_, Some(byte)) => bytes.insert(at, byte),
                (_, None) => {}
            }
        }
    }
}

fn folder(target: &str) -> PathBuf {
    let fuzz = Path::new(env!("CARGO_MANIFEST_DIR"));
    // A case file that is replayed is a seed as well.
    if target == "case_file" { fuzz.join("regressions") } else { fuzz.join("seeds").join(target) }
}

/// The committed seeds of a target, by their names.
pub(crate) fn committed(target: &str) -> BTreeMap<String, Vec<u8>> {
    let mut seeds = BTreeMap::new();
    for entry in fs::read_dir(folder(target)).into_iter().flatten() {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        seeds.insert(name, fs::read(&path).expect("a seed"));
    }
    seeds
}

/// The shortest stream of each base pattern.
fn patterns(target: Target) -> BTreeMap<String, Vec<u8>> {
    let can = target.scope(Capabilities::all());
    let mut generator = Generator::limited_to(Profile::sync_dma(), can);
    let mut case = generator.case(0, 0);
    let mut shortest: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for index in 0..CASES {
        let mut choices = RecordedChoices::new(case_seed(SEED, index));
        generator.generate(&mut choices, &mut case);
        let writes = case.program.iter().any(|one| matches!(one, Operation::Write { .. }));
        if target == Target::Write && !writes {
            continue;
        }
        let (name, bytes) = (generator.pattern().expect("a case was made"), choices.into_bytes());
        let kept = shortest.entry(name).or_insert_with(|| bytes.clone());
        if bytes.len() < kept.len() {
            *kept = bytes;
        }
    }
    shortest
}

/// Whether the seeds are to be written anew.
fn anew() -> bool {
    std::env::var_os("WRITE_SEEDS").is_some()
}

fn write(target: &str, name: &str, bytes: &[u8]) {
    fs::create_dir_all(folder(target)).unwrap();
    fs::write(folder(target).join(name), bytes).unwrap();
}

/// Removes the committed seeds of a target whose names begin with `fault-`, or all others.
fn remove(target: Target, of_faults: bool) {
    for name in committed(target.name()).keys() {
        if name.starts_with(FAULT) == of_faults {
            fs::remove_file(folder(target.name()).join(name)).unwrap();
        }
    }
}

#[test]
fn every_base_pattern_has_its_seed() {
    for (target, least) in [(Target::Write, 10), (Target::Read, 15), (Target::Whole, 25)] {
        let made = patterns(target);
        assert!(made.len() >= least, "{}: {} patterns", target.name(), made.len());
        if anew() {
            remove(target, false);
            made.iter().for_each(|(name, bytes)| write(target.name(), name, bytes));
        }
        let there = committed(target.name());
        for (name, bytes) in made {
            assert_eq!(there.get(&name), Some(&bytes), "{}/{name}: see above", target.name());
        }
    }
}

#[test]
fn the_seeds_of_faults_show_them() {
    let mut shown = 0;
    for target in [Target::Write, Target::Read] {
        if anew() {
            remove(target, true);
            for fault in &trackproof_samples::find("sync-dma").unwrap().faults {
                if let Some(bytes) = Deviating::of(target, &fault.name).smallest(SEED, CASES) {
                    write(target.name(), &format!("{FAULT}{}", fault.name), &bytes);
                }
            }
        }
        for (name, bytes) in committed(target.name()) {
            let Some(fault) = name.strip_prefix(FAULT) else { continue };
            let mut deviating = Deviating::of(target, fault);
            assert!(deviating.shows(&bytes).is_some(), "{}/{name}: see above", target.name());
            shown += 1;
        }
    }
    assert!(shown > 40, "{shown} seeds of faults");
}

#[test]
fn the_returns_of_a_library_have_their_seeds() {
    let seeds: [(&str, &[u8]); 3] = [
        ("quiet", &[0, 0, 0, 0, 0, 0, 0, 0]),
        ("items", &[9, 1, 0, 0, 0, 0, 2, 0, 3, 0, 0, 2, 0, 0, 0, 0, 1, 0, 5, 5]),
        ("refuses", &[3, 0, 0, 0, 0xe0]),
    ];
    for (name, bytes) in seeds {
        if anew() {
            write("library_returns", name, bytes);
        }
        let there = committed("library_returns");
        assert_eq!(there.get(name).map(Vec::as_slice), Some(bytes), "{name}: see above");
    }
}

#[test]
fn every_input_is_a_case_of_its_target() {
    // What is at hand of choices has no influence on this: it is the generator's promise.
    let mut generator = Generator::new(Profile::sync_dma());
    let mut case = generator.case(0, 0);
    let mut bytes = Bytes::new(5);
    for n in 0..300 {
        generator.generate(&mut ByteChoices::new(&bytes.next(n)), &mut case);
        assert_eq!(case.validate(), Ok(()));
    }
}
