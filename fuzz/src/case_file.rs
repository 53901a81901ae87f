//! The target `case_file`: whatever a stranger's case file holds, it is refused with a text or read,
//! written and read again as the same; and what is read can be run and judged.

use std::cell::RefCell;
use std::path::Path;
use trackproof::case_file::CaseFile;
use trackproof::examine::Examiner;
use trackproof::verdict::Verdict;

/// Longest case that is run, in nanoseconds: a fuzzer wants many short ones.
const LONGEST_NS: u64 = 2_000_000;

/// Reads an input as a case file.
///
/// # Panics
/// When what was read is not what is written, an error has no text that can be shown, or the correct
/// sample deviates: a fault of ours.
pub fn case_file(bytes: &[u8]) -> bool {
    let path = Path::new("input.json");
    let file = match CaseFile::parse(bytes, path) {
        Ok(file) => file,
        Err(error) => {
            let text = error.to_string();
            assert!(text.contains("input.json"), "no file: {text}");
            assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "unescaped: {text:?}");
            return true;
        }
    };
    let text = file.to_text().expect("what was read can be written");
    assert_eq!(CaseFile::parse(text.as_bytes(), path).as_ref(), Ok(&file));
    if file.case.end_ns() <= LONGEST_NS {
        thread_local! {
            static SAMPLE: RefCell<Option<Examiner>> = const { RefCell::new(None) };
        }
        SAMPLE.with_borrow_mut(|sample| run(sample.get_or_insert_with(correct), &file));
    }
    true
}

fn correct() -> Examiner {
    let sample = crate::implementation::Implementation::open("sample:sync-dma");
    Examiner::new(sample.and_then(|sample| sample.rig()).expect("the sample can be made"))
}

fn run(examiner: &mut Examiner, file: &CaseFile) {
    // A profile that the sample cannot have is refused.
    if let Ok(examined) = examiner.glance(&file.case)
        && let Verdict::Deviates(found) = examined.verdict
    {
        panic!("the correct sample deviates: {}: {}", found.rule.id, found.kind);
    }
}

#[cfg(test)]
mod tests {
    use super::case_file;
    use crate::seeds::Bytes;

    /// Case files with a few bytes changed: most are refused, some are other cases.
    #[test]
    fn damaged_case_files_are_refused_or_are_other_cases() {
        let seeds = crate::seeds::committed("case_file");
        assert!(seeds.len() > 3, "{} seeds", seeds.len());
        let mut bytes = Bytes::new(11);
        for (name, seed) in &seeds {
            assert!(case_file(seed), "{name}");
            for _ in 0..100 {
                let mut damaged = seed.clone();
                bytes.damage(&mut damaged);
                assert!(case_file(&damaged));
            }
        }
    }
}
