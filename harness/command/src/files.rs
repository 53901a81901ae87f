//! The case files that a run writes: each finding at once, and again when it is smallest.

use crate::failure::Failure;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use trackproof::campaign::Finding;
use trackproof::case_file::CaseFile;

/// The folder of a run's case files, and which of them this run has written.
pub(crate) struct Files {
    dir: PathBuf,
    written: BTreeMap<String, PathBuf>,
    failed: bool,
}

impl Files {
    /// The folder's files; it is made if it is missing. Where that fails, a line on standard error
    /// says so at once.
    pub(crate) fn new(dir: &Path) -> Self {
        let made = fs::create_dir_all(dir);
        if let Err(error) = &made {
            eprintln!(
                "trackproof: {}: the folder cannot be made: {error}; what is found will be on \
                 standard error. Name another one with --out",
                dir.display()
            );
        }
        Self { dir: dir.into(), written: BTreeMap::new(), failed: made.is_err() }
    }

    /// The folder.
    pub(crate) fn dir(&self) -> &Path {
        &self.dir
    }

    /// Whether something could not be written.
    pub(crate) const fn failed(&self) -> bool {
        self.failed
    }

    /// Writes a file that will be written again when its finding is smallest.
    pub(crate) fn save_for_now(&mut self, file: &CaseFile) -> Result<PathBuf, Failure> {
        match file.write(&self.dir) {
            Ok(path) => {
                self.written.insert(file.file_name(), path.clone());
                Ok(path)
            }
            Err(error) => {
                self.failed = true;
                Err(error.into())
            }
        }
    }

    /// Writes a file for good; where that fails it goes to standard error.
    pub(crate) fn save(&mut self, file: &CaseFile) -> Option<String> {
        match self.save_for_now(file) {
            Ok(path) => Some(path.display().to_string()),
            Err(failure) => {
                eprintln!("trackproof: {}\n{}:", failure.text, file.file_name());
                match file.to_text() {
                    Ok(text) => eprint!("{text}"),
                    Err(error) => eprintln!("trackproof: {error}"),
                }
                None
            }
        }
    }

    /// Where a finding's file of this run is.
    pub(crate) fn path_of(&self, finding: &Finding) -> Option<String> {
        let name = format!("{}-{}.json", finding.rule.id, finding.kind);
        self.written.get(&name).map(|path| path.display().to_string())
    }

    /// Removes what this run has written for findings that are not among `kept`: such a finding
    /// has another name now. Files of earlier runs stay.
    pub(crate) fn keep_only<'a>(&mut self, kept: impl Iterator<Item = &'a Finding>) {
        let names: Vec<String> =
            kept.map(|finding| format!("{}-{}.json", finding.rule.id, finding.kind)).collect();
        self.written.retain(|name, path| {
            let keep = names.contains(name);
            if !keep && let Err(error) = fs::remove_file(&*path) {
                eprintln!("trackproof: {}: cannot be removed: {error}", path.display());
            }
            keep
        });
    }
}

/// The command line that replays a file, ready for a shell.
pub(crate) fn replay_line(file: &str, implementation: &str) -> String {
    format!("trackproof replay {} {}", quoted(file), quoted(implementation))
}

/// The command line that checks an implementation by a profile's file.
pub(crate) fn check_line(implementation: &str, profile: &str) -> String {
    format!("trackproof check {} --profile {}", quoted(implementation), quoted(profile))
}

fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_./:+-=,".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::{check_line, replay_line};

    #[test]
    fn a_command_line_survives_the_shell() {
        assert_eq!(
            check_line("cmd:python3 mine.py", "out/inferred.toml"),
            "trackproof check 'cmd:python3 mine.py' --profile out/inferred.toml"
        );
        assert_eq!(
            replay_line("out/sync.wrap-no-start.json", "sample:sync-dma+a"),
            "trackproof replay out/sync.wrap-no-start.json sample:sync-dma+a"
        );
        assert_eq!(replay_line("a b", "lib:it's"), r"trackproof replay 'a b' 'lib:it'\''s'");
    }
}
