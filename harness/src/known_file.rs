//! Known deviations: a TOML file in which a project says what it knows to be wrong, and why it is
//! left so.
//!
//! Reading is strict: an entry that names nothing would hide nothing, and nobody would see it.

use crate::rules::Rule;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Largest file: some thousand entries with a page of reason each.
pub const MAX_KNOWN_FILE_BYTES: u64 = 1 << 22;

/// A known deviation.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Known {
    /// The rule's id.
    pub rule: String,
    /// How it is broken.
    pub kind: String,
    /// The name of the profile that it is broken under, as reports have it.
    pub profile: String,
    /// Why it is left so.
    pub reason: String,
}

/// Why a file gives no known deviations.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum KnownFileError {
    /// The file cannot be read.
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        why: String,
    },
    /// Something in the text.
    Text {
        /// The file.
        file: String,
        /// The line, from 1; the one that an entry begins in.
        line: usize,
        /// What is there, and what may be there.
        why: String,
    },
}

impl fmt::Display for KnownFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, why } => {
                write!(f, "{file}: the known deviations cannot be read: {why}")
            }
            Self::Text { file, line, why } => write!(f, "{file}:{line}: {why}"),
        }
    }
}

impl std::error::Error for KnownFileError {}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    #[serde(default)]
    known: Vec<toml::Spanned<Known>>,
}

/// Reads a file.
///
/// # Errors
/// Says where in the file, what is there, and what may be there.
pub fn load(path: &Path) -> Result<Vec<Known>, KnownFileError> {
    let file = path.display().to_string();
    let unreadable = |why: String| KnownFileError::Unreadable { file: file.clone(), why };
    let opened = File::open(path).map_err(|error| unreadable(error.to_string()))?;
    let mut text = String::new();
    opened
        .take(MAX_KNOWN_FILE_BYTES + 1)
        .read_to_string(&mut text)
        .map_err(|error| unreadable(error.to_string()))?;
    if text.len() as u64 > MAX_KNOWN_FILE_BYTES {
        return Err(unreadable(format!("larger than {MAX_KNOWN_FILE_BYTES} bytes, the limit")));
    }
    parse(&text, &file)
}

/// Reads the text of a file; `file` is for the error's text.
///
/// ```
/// use trackproof::known_file::parse;
/// let text = r#"
/// [[known]]
/// rule = "byte.poll"
/// kind = "torn-byte"
/// profile = "byte-stream"
/// reason = "the port of the first board; mended in the second"
/// "#;
/// assert_eq!(parse(text, "known.toml")?[0].rule, "byte.poll");
/// # Ok::<(), trackproof::known_file::KnownFileError>(())
/// ```
///
/// # Errors
/// The first place that holds something else.
pub fn parse(text: &str, file: &str) -> Result<Vec<Known>, KnownFileError> {
    let fail = |at: usize, why: String| {
        let before = text.get(..at).unwrap_or(text);
        let line = before.matches('\n').count() + 1;
        KnownFileError::Text { file: file.to_owned(), line, why }
    };
    let list: List = toml::from_str(text).map_err(|error| {
        fail(error.span().map_or(0, |span| span.start), error.message().to_owned())
    })?;
    let mut names = BTreeSet::new();
    let mut all = Vec::new();
    for entry in list.known {
        let at = entry.span().start;
        let known = entry.into_inner();
        if Rule::find(&known.rule).is_none() {
            let why = format!("no rule `{}`; `trackproof rules` lists them", known.rule);
            return Err(fail(at, why));
        }
        if known.reason.trim().is_empty() {
            return Err(fail(at, "the reason is empty; say why the deviation is left".into()));
        }
        if !names.insert((known.rule.clone(), known.kind.clone(), known.profile.clone())) {
            let why = format!("{}: {} is there twice", known.rule, known.kind);
            return Err(fail(at, why));
        }
        all.push(known);
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::parse;

    const ENTRY: &str = "[[known]]\nrule = \"sync.flag\"\nkind = \"wrong-flag\"\n\
                         profile = \"sync-dma\"\nreason = \"the old board\"\n";

    #[test]
    fn entries_are_read_in_their_order() {
        assert_eq!(parse("", "k.toml"), Ok(Vec::new()));
        let two = format!("{ENTRY}{}", ENTRY.replace("wrong", "late"));
        let kinds: Vec<_> =
            parse(&two, "k.toml").unwrap().into_iter().map(|known| known.kind).collect();
        assert_eq!(kinds, ["wrong-flag", "late-flag"]);
    }

    #[test]
    fn what_would_hide_nothing_is_refused_with_its_line() {
        for (from, to, error) in [
            ("sync.flag", "sync.never", "k.toml:1: no rule `sync.never`"),
            ("the old board", " ", "k.toml:1: the reason is empty"),
            ("reason", "because", "k.toml:5: unknown field `because`"),
            ("[[known]]", "[[old]]", "k.toml:1: unknown field `old`"),
            ("\"sync-dma\"", "7", "k.toml:4: invalid type"),
        ] {
            let text = ENTRY.replace(from, to);
            let said = parse(&text, "k.toml").unwrap_err().to_string();
            assert!(said.starts_with(error), "{said}");
        }
        let twice = parse(&ENTRY.repeat(2), "k.toml").unwrap_err().to_string();
        assert!(twice.starts_with("k.toml:6: sync.flag: wrong-flag is there twice"), "{twice}");
    }
}
