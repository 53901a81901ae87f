//! The rules as a test of one's own: what it says of right and of wrong readers, and that case
//! files are run first.

use std::fs;
use std::path::Path;
use trackproof::conformance::{CASE_FILES, Conformance, NEW_CASE_FILES};
use trackproof_contract::{SeamError, WordReader};

/// A framer that counts this many bits a word, and loses its temper at this one.
#[derive(Default)]
struct Framer {
    word_bits: u32,
    panics_at: u64,
    register: u16,
    counted: u32,
    bits: u64,
}

impl WordReader for Framer {
    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        self.bits += 1;
        assert_ne!(self.bits, self.panics_at, "as the test wants it");
        self.register = self.register << 1 | u16::from(bit);
        self.counted = (self.counted + 1) % self.word_bits;
        Ok((self.counted == 0).then_some(self.register.into()))
    }
}

fn framer(word_bits: u32, panics_at: u64, folder: &Path) -> Conformance {
    let make = move || Framer { word_bits, panics_at, ..Framer::default() };
    Conformance::of(make).cases(300).folder(folder)
}

#[test]
fn a_right_reader_passes_here() {
    trackproof::conformance::check(|| Framer { word_bits: 16, ..Framer::default() });
}

#[test]
fn a_wrong_one_fails_with_the_smallest_case_which_is_run_first_from_then_on() {
    let folder = tempfile::tempdir().unwrap();
    let text = framer(15, 0, folder.path()).run().unwrap_err();
    for part in
        ["The smallest program (", "What came back", "tests/trackproof", "Verdict  deviates"]
    {
        assert!(text.contains(part), "{part}: {text}");
    }
    let new: Vec<_> = fs::read_dir(folder.path().join(NEW_CASE_FILES)).unwrap().collect();
    assert!(!new.is_empty());
    let kept = folder.path().join(CASE_FILES);
    fs::create_dir_all(&kept).unwrap();
    for entry in new {
        let path = entry.unwrap().path();
        fs::copy(&path, kept.join(path.file_name().unwrap())).unwrap();
    }
    let text = framer(15, 0, folder.path()).cases(0).run().unwrap_err();
    assert!(text.contains("it deviates, as it once did or anew"), "{text}");
    assert!(text.contains("The smallest program ("), "{text}");
    // Mended, all of them pass.
    assert_eq!(framer(16, 0, folder.path()).run(), Ok(()));
    // A file that is none is no pass.
    fs::write(kept.join("a.json"), "{}").unwrap();
    let text = framer(16, 0, folder.path()).run().unwrap_err();
    assert!(text.contains("a.json"), "{text}");
}

#[test]
fn a_panic_is_a_finding_with_its_smallest_case() {
    let folder = tempfile::tempdir().unwrap();
    let text = framer(16, 100, folder.path()).run().unwrap_err();
    for part in ["stops: panicked", "The smallest program (", "Verdict  deviates"] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

#[test]
#[should_panic(expected = "nothing was judged")]
fn what_is_not_judged_has_not_passed() {
    struct Nothing;
    impl WordReader for Nothing {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            Err(SeamError::NotSupported)
        }
    }
    Conformance::of(|| Nothing).cases(200).check();
}
