//! The list of names that were told, one a line: `RULE: KIND`, and `RULE: KIND = RULE: KIND` when
//! it is known what it settles under. Lines are only added, each in one write, so that several
//! processes can; a line that means nothing is passed over.

use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// The list's name in its folder.
const FILE: &str = "told.txt";

/// Most that is read of it: some ten thousand names.
const MAX_BYTES: u64 = 1 << 20;

/// The list.
pub(super) struct Told {
    path: PathBuf,
}

/// A name as a line.
pub(super) fn line((rule, kind): (&str, &str)) -> String {
    format!("{rule}: {kind}")
}

impl Told {
    /// The list of a folder.
    pub(super) fn of(folder: &Path) -> Self {
        Self { path: folder.join(FILE) }
    }

    /// Whether a name was told.
    pub(super) fn has(&self, name: &str) -> bool {
        self.text().lines().any(|line| line.split(" = ").any(|one| one == name))
    }

    /// The name that one settled under.
    pub(super) fn settled(&self, name: &str) -> Option<String> {
        let text = self.text();
        let mut settled = text.lines().filter_map(|line| line.split_once(" = "));
        settled.find(|(first, _)| *first == name).map(|(_, settled)| settled.to_owned())
    }

    /// Adds a name.
    pub(super) fn add(&self, name: &str) {
        self.write(&format!("{name}\n"));
    }

    /// Adds what a name settled under.
    pub(super) fn add_settled(&self, first: &str, settled: &str) {
        self.write(&format!("{first} = {settled}\n"));
    }

    fn write(&self, line: &str) {
        let folder = self.path.parent().unwrap_or_else(|| Path::new("."));
        let written = std::fs::create_dir_all(folder)
            .and_then(|()| OpenOptions::new().append(true).create(true).open(&self.path))
            .and_then(|mut file| file.write_all(line.as_bytes()));
        if let Err(error) = written {
            eprintln!("{}: {error}; names may be told again", self.path.display());
        }
    }

    fn text(&self) -> String {
        let mut bytes = Vec::new();
        if let Ok(file) = std::fs::File::open(&self.path) {
            // What cannot be read is told again, which is the lesser harm.
            let _ = file.take(MAX_BYTES).read_to_end(&mut bytes);
        }
        String::from_utf8_lossy(&bytes).into_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::{FILE, Told};

    #[test]
    fn names_are_found_again_and_damage_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let told = Told::of(&folder.path().join("deeper"));
        assert!(!told.has("a.b: c"));
        told.add("a.b: c");
        told.add_settled("d.e: f", "g.h: i");
        let path = folder.path().join("deeper").join(FILE);
        let damaged = [std::fs::read(&path).unwrap(), b"\xff\xfe = \0 =\n=\n\n".to_vec()].concat();
        std::fs::write(&path, damaged).unwrap();
        told.add("j.k: l");
        for name in ["a.b: c", "d.e: f", "g.h: i", "j.k: l"] {
            assert!(told.has(name), "{name}");
        }
        assert!(!told.has("a.b"));
        assert_eq!(told.settled("d.e: f").as_deref(), Some("g.h: i"));
        assert_eq!(told.settled("a.b: c"), None);
    }
}
