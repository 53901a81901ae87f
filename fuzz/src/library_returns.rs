//! The target `library_returns`: whatever a library returns, in whichever order, is an error with a
//! text or an observation that can be judged.

use arbitrary::Unstructured;
use std::cell::RefCell;
use std::fmt::Write;
use tempfile::TempDir;
use trackproof::examine::Examiner;
use trackproof::generate::Generator;
use trackproof_c_abi::Library;
use trackproof_contract::{Case, Profile};

/// The library, compiled by this crate's build script.
const LIBRARY: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/returns.library"));

/// Cases that an input may choose from.
const CASES: u64 = 64;

/// Longest of them, in nanoseconds.
const LONGEST_NS: u64 = 2_000_000;

/// Most bytes of returns.
const MAX_BYTES: usize = 4_096;

/// Has a library return what the input says.
///
/// # Panics
/// When our side does not stand it: a fault of ours.
pub fn library_returns(bytes: &[u8]) -> bool {
    thread_local! {
        static RETURNS: RefCell<Option<Returns>> = const { RefCell::new(None) };
    }
    RETURNS.with_borrow_mut(|returns| returns.get_or_insert_with(Returns::open).run(bytes))
}

struct Returns {
    // In this order: the library is closed before its folder goes.
    library: Library,
    _folder: TempDir,
    cases: Vec<Case>,
}

impl Returns {
    fn open() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let path = folder.path().join("returns.library");
        std::fs::write(&path, LIBRARY).expect("a temporary file can be written");
        let library = Library::open(&path).expect("our own library can be opened");
        let mut generator = Generator::new(Profile::sync_dma());
        let cases = (0..).map(|index| generator.case(1, index));
        let cases = cases.filter(|case| case.end_ns() <= LONGEST_NS).take(CASES as usize).collect();
        Self { library, _folder: folder, cases }
    }

    fn run(&self, bytes: &[u8]) -> bool {
        let mut input = Unstructured::new(bytes);
        let last = self.cases.len() - 1;
        let (Ok(case), Ok(twice)) = (input.int_in_range(0..=last), input.arbitrary::<bool>())
        else {
            return false;
        };
        let returns = input.take_rest();
        let mut words = String::with_capacity(2 * returns.len());
        for byte in &returns[..returns.len().min(MAX_BYTES)] {
            let _ = write!(words, "{byte:02x}");
        }
        let rig = match self.library.rig(Some(&words)) {
            Ok(rig) => rig,
            Err(error) => {
                tells(&error.to_string());
                return true;
            }
        };
        let mut examiner = Examiner::new(Box::new(rig));
        // What it left behind the first time must not harm the second.
        for _ in 0..=u32::from(twice) {
            if let Err(error) = examiner.glance(&self.cases[case]) {
                tells(&error.to_string());
            }
        }
        true
    }
}

/// An error text is for people.
fn tells(text: &str) {
    assert!(!text.is_empty() && !text.chars().any(|c| c == '\x1b'), "{text:?}");
}

#[cfg(test)]
mod tests {
    use super::library_returns;
    use crate::seeds::Bytes;

    #[test]
    fn whatever_a_library_returns_is_an_error_or_is_judged() {
        assert!(library_returns(&[]), "a library that returns nothing at all");
        let mut bytes = Bytes::new(12);
        let kept = (0..600).filter(|n| library_returns(&bytes.next(n % 120))).count();
        assert!(kept > 500, "{kept}");
        for (name, seed) in crate::seeds::committed("library_returns") {
            assert!(library_returns(&seed), "{name}");
        }
    }
}
