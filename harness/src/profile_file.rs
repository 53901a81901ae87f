//! Profile files: a controller's choices as TOML, and what each key means.
//!
//! Reading is strict: an unknown key or value is refused with its place and with what there is.
//! What the keys are and which values they take is the contract's; here is only the text around
//! them. The built-in files are part of the program, so that nothing has to be installed.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::OnceLock;

use toml::Spanned;
use toml::de::{DeTable, DeValue};
use trackproof_contract::{Key, Profile, ProfileError};

/// Largest profile file: every key with a page of meaning each is far below.
pub const MAX_PROFILE_FILE_BYTES: u64 = 1 << 20;

const SYNC_DMA: &str = include_str!("../../adapters/contract/profiles/sync-dma.toml");
const BYTE_STREAM: &str = include_str!("../../adapters/contract/profiles/byte-stream.toml");

/// Why a profile file gives no profile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ProfileFileError {
    /// Neither a built-in profile nor a file that can be read.
    Unreadable {
        /// What was asked for.
        name: String,
        /// Why the file cannot be read.
        why: String,
    },
    /// The file is too large.
    TooLarge {
        /// The file.
        file: String,
    },
    /// Something in the text.
    Text {
        /// The file.
        file: String,
        /// The line, from 1.
        line: usize,
        /// The column in characters, from 1.
        column: usize,
        /// What is there, and what may be there.
        why: String,
    },
    /// Values that are right each by itself and impossible together.
    Together {
        /// The file.
        file: String,
        /// Which, and the limit.
        error: ProfileError,
    },
}

impl fmt::Display for ProfileFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { name, why } => write!(
                f,
                "profile `{name}`: no built-in profile ({}), and no file that can be read: {why}",
                Profile::BUILT_IN.join(", ")
            ),
            Self::TooLarge { file } => write!(
                f,
                "{file}: larger than {MAX_PROFILE_FILE_BYTES} bytes, the limit of a profile file"
            ),
            Self::Text { file, line, column, why } => write!(f, "{file}:{line}:{column}: {why}"),
            Self::Together { file, error } => write!(f, "{file}: {error}"),
        }
    }
}

impl std::error::Error for ProfileFileError {}

/// The profile of a built-in name, or of a file at that path; with its name, which for a file is
/// the file's name without its extension.
///
/// # Errors
/// Says where in the file, what is there, and what may be there.
pub fn load(name_or_path: &str) -> Result<(String, Profile), ProfileFileError> {
    if let Some(profile) = Profile::built_in(name_or_path) {
        return Ok((name_or_path.to_owned(), profile));
    }
    let unreadable =
        |why: String| ProfileFileError::Unreadable { name: name_or_path.to_owned(), why };
    let path = Path::new(name_or_path);
    let file = File::open(path).map_err(|error| unreadable(error.to_string()))?;
    let mut bytes = Vec::new();
    file.take(MAX_PROFILE_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unreadable(error.to_string()))?;
    if bytes.len() as u64 > MAX_PROFILE_FILE_BYTES {
        return Err(ProfileFileError::TooLarge { file: name_or_path.to_owned() });
    }
    let text = String::from_utf8(bytes).map_err(|error| unreadable(error.to_string()))?;
    let profile = parse(&text, name_or_path)?;
    let name = path.file_stem().map_or_else(|| name_or_path.into(), |stem| stem.to_string_lossy());
    Ok((name.into_owned(), profile))
}

/// Reads a profile from TOML text.
///
/// Shape: `key = value` or a table `[key]` with `value` and an optional `meaning`; numbers may
/// stand as numbers, everything else as text. `base` names the built-in profile that gives the
/// keys which are not named; without it that is `sync-dma`. `file` is for the error's text.
///
/// ```
/// use trackproof::profile_file::parse;
/// let text = "base = \"byte-stream\"\nfifo_words = 2\n";
/// assert_eq!(parse(text, "mine.toml")?.fifo_words, 2);
/// # Ok::<(), trackproof::profile_file::ProfileFileError>(())
/// ```
///
/// # Errors
/// The first place that holds something else.
pub fn parse(text: &str, file: &str) -> Result<Profile, ProfileFileError> {
    let fail = |at: usize, why: String| place(text, file, at, why);
    let table = DeTable::parse(text).map_err(|error| {
        fail(error.span().map_or(0, |span| span.start), error.message().to_owned())
    })?;
    let mut entries: Vec<_> = table.get_ref().iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);

    let mut profile = Profile::sync_dma();
    if let Some((_, value)) = entries.iter().find(|(name, _)| name.get_ref() == "base") {
        let known = value.get_ref().as_str().and_then(Profile::built_in);
        profile = known.ok_or_else(|| {
            let there = Profile::BUILT_IN.join(" or ");
            fail(value.span().start, format!("`base` must be a built-in profile, {there}"))
        })?;
    }
    for (name, value) in entries {
        if name.get_ref() == "base" {
            continue;
        }
        let key = Profile::key(name.get_ref())
            .map_err(|error| fail(name.span().start, error.to_string()))?;
        let value = inner_value(key, value).map_err(|(at, why)| fail(at, why))?;
        set(&mut profile, key, value.get_ref()).map_err(|why| fail(value.span().start, why))?;
    }
    profile
        .validate()
        .map_err(|error| ProfileFileError::Together { file: file.to_owned(), error })?;
    Ok(profile)
}

/// The `value` of a table, or the value itself.
fn inner_value<'a, 'i>(
    key: &Key,
    value: &'a Spanned<DeValue<'i>>,
) -> Result<&'a Spanned<DeValue<'i>>, (usize, String)> {
    let Some(table) = value.get_ref().as_table() else { return Ok(value) };
    let mut found = None;
    for (name, entry) in table {
        match name.get_ref().as_ref() {
            "value" => found = Some(entry),
            "meaning" => {}
            other => {
                let why = format!(
                    "`{}` has no `{}`; a key's table holds `value` and `meaning`",
                    key.name,
                    other.escape_debug()
                );
                return Err((name.span().start, why));
            }
        }
    }
    found.ok_or_else(|| (value.span().start, format!("`{}` has no `value`", key.name)))
}

/// Sets a key from a TOML value; the error says what it takes.
fn set(profile: &mut Profile, key: &Key, value: &DeValue<'_>) -> Result<(), String> {
    let refused = |what: &str| {
        format!("profile key `{}` cannot be {what}; it takes {}", key.name, key.allowed())
    };
    match value {
        DeValue::String(text) => key.set_text(profile, text).map_err(|error| error.to_string()),
        // A choice has a number in the C ABI only; in a file it is a word.
        DeValue::Integer(_) if key.allowed().contains('|') => Err(refused("a number")),
        DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
            .map_err(|_| refused("a number of more than 63 bits"))
            .and_then(|code| key.set_code(profile, code).map_err(|error| error.to_string())),
        other => Err(refused(&format!("a value of type {}", other.type_str()))),
    }
}

/// The error at byte `at` of the text.
fn place(text: &str, file: &str, at: usize, why: String) -> ProfileFileError {
    let (line, column) = line_and_column(text, at);
    ProfileFileError::Text { file: file.to_owned(), line, column, why }
}

/// Line and column of byte `at` of a text, both from 1, the column in characters.
pub(crate) fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    (line, before.rsplit('\n').next().unwrap_or("").chars().count() + 1)
}

/// What a key means: a sentence or a few, as in the built-in files.
#[must_use]
pub fn meaning(key: &Key) -> &'static str {
    static MEANINGS: OnceLock<BTreeMap<String, String>> = OnceLock::new();
    let meanings = MEANINGS.get_or_init(|| {
        let mut meanings = BTreeMap::new();
        if let Ok(table) = DeTable::parse(SYNC_DMA) {
            for (name, value) in table.get_ref() {
                let text = value.get_ref().get("meaning").and_then(|text| text.get_ref().as_str());
                meanings.insert(name.get_ref().to_string(), text.unwrap_or_default().to_owned());
            }
        }
        meanings
    });
    meanings.get(key.name).map_or("", String::as_str)
}

/// The text of a built-in profile's file: a template for one's own.
#[must_use]
pub fn built_in_text(name: &str) -> Option<&'static str> {
    match name {
        "sync-dma" => Some(SYNC_DMA),
        "byte-stream" => Some(BYTE_STREAM),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::{built_in_text, load, meaning, parse};
    use toml::de::DeTable;
    use trackproof_contract::{KEYS, Profile, StartMatch};

    fn refused(text: &str) -> String {
        parse(text, "mine.toml").expect_err(text).to_string()
    }

    #[test]
    fn the_built_in_files_name_every_key_once_in_order_with_the_codes_value_and_one_meaning() {
        for name in Profile::BUILT_IN {
            let (text, profile) = (built_in_text(name).unwrap(), Profile::built_in(name).unwrap());
            let headings: Vec<&str> = text
                .lines()
                .filter_map(|line| line.strip_prefix('[').and_then(|line| line.strip_suffix(']')))
                .collect();
            assert_eq!(headings, KEYS.iter().map(|key| key.name).collect::<Vec<_>>(), "{name}");
            assert_eq!(parse(text, name).unwrap(), profile);
            // Not by way of the other profile's values: each value stands in the file itself.
            let table = DeTable::parse(text).unwrap();
            for key in KEYS {
                let entry = table.get_ref().get(key.name).unwrap();
                assert!(entry.get_ref().get("value").is_some(), "{name} {}", key.name);
                let there = entry.get_ref().get("meaning").unwrap().get_ref().as_str().unwrap();
                assert_eq!(there, meaning(key), "{name} {}", key.name);
                assert!(there.len() > 10 && there.ends_with('.'), "{name} {}: {there}", key.name);
            }
        }
    }

    #[test]
    fn a_flat_file_changes_its_base_and_nothing_else() {
        let profile = parse(
            "base = \"byte-stream\"\nstart_match = \"drop\"\nfifo_words = 4\nsync_mask = 0x7fff\n",
            "mine.toml",
        )
        .unwrap();
        let expected = Profile {
            start_match: StartMatch::Drop,
            fifo_words: 4,
            sync_mask: 0x7fff,
            ..Profile::byte_stream()
        };
        assert_eq!(profile, expected);
        assert_eq!(parse("", "mine.toml").unwrap(), Profile::sync_dma());
        assert_eq!(parse("sync_mask = \"7fff\"", "mine.toml").unwrap().sync_mask, 0x7fff);
        assert_eq!(parse("fifo_words = \"4\"", "mine.toml").unwrap().fifo_words, 4);
    }

    #[test]
    fn an_unknown_key_is_refused_with_its_place_and_the_keys_there_are() {
        let error = refused("fifo_words = 2\n  words = 3\n");
        assert!(error.starts_with("mine.toml:2:3: profile key `words` does not exist"), "{error}");
        assert!(error.contains("fifo_words"), "{error}");
        let error = refused("[partial]\nvalue = \"drop\"\nnote = \"x\"\n");
        assert!(error.starts_with("mine.toml:3:1: `partial` has no `note`"), "{error}");
        assert!(refused("[partial]\nmeaning = \"x\"\n").contains("`partial` has no `value`"));
    }

    #[test]
    fn an_unknown_value_is_refused_with_its_place_and_the_values_there_are() {
        for (text, expected) in [
            ("partial = \"keep\"", "mine.toml:1:11: profile key `partial` cannot be `keep`"),
            ("[partial]\nvalue = 1", "mine.toml:2:9: profile key `partial` cannot be a number"),
            ("byte_port = true", "mine.toml:1:13: profile key `byte_port` cannot be a value of"),
            ("fifo_words = -1", "mine.toml:1:14: profile key `fifo_words` cannot be `-1`"),
            ("fifo_words = 1.5", "mine.toml:1:14: profile key `fifo_words` cannot be a value of"),
            ("base = \"other\"", "mine.toml:1:8: `base` must be a built-in profile, sync-dma or"),
            ("fifo_words = 0", "mine.toml: profile: `fifo_words` is 0, the limits are"),
            ("fifo_words = ", "mine.toml:1:14: "),
            ("partial = \"drop\"\npartial = \"drop\"", "mine.toml:2:1: duplicate key"),
        ] {
            let error = refused(text);
            assert!(error.starts_with(expected), "{text}: {error}");
        }
        assert!(refused("partial = \"keep\"").contains("drop | pad-low | finish"));
        assert!(refused("byte_port = true").contains("no | yes"));
    }

    #[test]
    fn a_name_loads_the_built_in_and_a_path_the_file() {
        assert_eq!(load("sync-dma").unwrap(), ("sync-dma".into(), Profile::sync_dma()));
        let path = std::env::temp_dir().join(format!("choices-{}.toml", std::process::id()));
        std::fs::write(&path, "fifo_words = 7").unwrap();
        let (name, profile) = load(path.to_str().unwrap()).unwrap();
        std::fs::remove_file(&path).unwrap();
        assert_eq!(name, format!("choices-{}", std::process::id()));
        assert_eq!(profile.fifo_words, 7);
        let error = load("no-such").unwrap_err().to_string();
        assert!(error.contains("no built-in profile (sync-dma, byte-stream)"), "{error}");
    }
}
