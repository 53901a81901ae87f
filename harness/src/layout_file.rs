//! Layout files: a track's numbers as TOML, each with where it comes from.
//!
//! Reading is strict, as of profiles: an unknown key or value is refused with its place and with
//! what there is, and a layout that does not fit its turn with the arithmetic. The built-in files
//! are part of the program, so that nothing has to be installed.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};
use trackproof_contract::Recording;
use trackproof_model::layout::{
    FullTrack, Layout, LayoutError, MAX_SIZE_CODE, Preamble, TrackLayout,
};

use crate::profile_file::line_and_column;

/// Largest layout file: a dozen keys with a page about each are far below.
pub const MAX_LAYOUT_FILE_BYTES: u64 = 1 << 20;

macro_rules! built_in {
    ($($name:literal),* $(,)?) => {
        /// The built-in layouts: name and text of the file.
        pub const BUILT_IN: &[(&str, &str)] = &[
            $(($name, include_str!(concat!("../../reference-model/layouts/", $name, ".toml")))),*
        ];
    };
}

built_in![
    "fm-16x128-3125",
    "fm-26x128-5208",
    "fm-15x256-5208",
    "fm-8x512-5208",
    "mfm-16x256-6250",
    "mfm-9x512-6250",
    "mfm-9x512-6250-wide-gap-3",
    "mfm-9x512-6250-no-index-mark",
    "mfm-10x512-6250",
    "mfm-26x256-10416",
    "mfm-15x512-10416",
    "mfm-8x1024-10416",
    "mfm-18x512-12500",
    "mfm-18x512-12500-wide-gap-3",
    "mfm-36x512-25000",
    "full-track-10x512",
];

/// The keys of a soft-sector layout; without `gap_4a_bytes` the track has no index mark.
const SOFT_SECTOR_KEYS: &[&str] = &[
    "recording",
    "gap_4a_bytes",
    "gap_1_bytes",
    "sync_bytes",
    "gap_2_bytes",
    "gap_3_bytes",
    "sectors",
    "sector_bytes",
    "turn_bytes",
];
const FULL_TRACK_KEYS: &[&str] = &["sectors", "sector_bytes", "turn_bytes"];
/// What a file of either kind may hold beside its numbers.
const COMMON_KEYS: &[&str] = &["kind", "standards"];

/// Why a layout file gives no layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LayoutFileError {
    /// Neither a built-in layout nor a file that can be read.
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
    /// Numbers that are right each by itself and make no track together.
    Together {
        /// The file.
        file: String,
        /// Which, and the arithmetic.
        error: LayoutError,
    },
}

impl fmt::Display for LayoutFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { name, why } => {
                let names: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
                write!(
                    f,
                    "layout `{name}`: no built-in layout ({}), and no file that can be read: {why}",
                    names.join(", ")
                )
            }
            Self::TooLarge { file } => write!(
                f,
                "{file}: larger than {MAX_LAYOUT_FILE_BYTES} bytes, the limit of a layout file"
            ),
            Self::Text { file, line, column, why } => write!(f, "{file}:{line}:{column}: {why}"),
            Self::Together { file, error } => write!(f, "{file}: {error}"),
        }
    }
}

impl std::error::Error for LayoutFileError {}

/// The layout of a built-in name, or of a file at that path.
///
/// # Errors
/// Says where in the file, what is there, and what may be there; or why the layout does not fit.
pub fn load(name_or_path: &str) -> Result<TrackLayout, LayoutFileError> {
    if let Some((_, text)) = BUILT_IN.iter().find(|(name, _)| *name == name_or_path) {
        return parse(text, name_or_path);
    }
    let unreadable =
        |why: String| LayoutFileError::Unreadable { name: name_or_path.to_owned(), why };
    let file =
        File::open(Path::new(name_or_path)).map_err(|error| unreadable(error.to_string()))?;
    let mut bytes = Vec::new();
    file.take(MAX_LAYOUT_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unreadable(error.to_string()))?;
    if bytes.len() as u64 > MAX_LAYOUT_FILE_BYTES {
        return Err(LayoutFileError::TooLarge { file: name_or_path.to_owned() });
    }
    let text = String::from_utf8(bytes).map_err(|error| unreadable(error.to_string()))?;
    parse(&text, name_or_path)
}

/// Reads a layout from TOML text.
///
/// Shape: `kind`, which is `"soft-sector"` or `"full-track"`, and each of its keys as `key = value`
/// or as a table `[key]` with `value` and an optional `source`. `standards` may say where the
/// layout is defined. `file` is for the error's text.
///
/// ```
/// use trackproof::layout_file::parse;
/// let text = "kind = \"full-track\"\nsectors = 11\nsector_bytes = 512\nturn_bytes = 6250\n";
/// assert_eq!(parse(text, "mine.toml")?.bytes_left(), Ok(453));
/// # Ok::<(), trackproof::layout_file::LayoutFileError>(())
/// ```
///
/// # Errors
/// The first place that holds something else; a key that is missing; a layout that does not fit.
pub fn parse(text: &str, file: &str) -> Result<TrackLayout, LayoutFileError> {
    let fail = |(at, why): (usize, String)| {
        let (line, column) = line_and_column(text, at);
        LayoutFileError::Text { file: file.to_owned(), line, column, why }
    };
    let table = DeTable::parse(text).map_err(|error| {
        fail((error.span().map_or(0, |span| span.start), error.message().to_owned()))
    })?;
    let layout = layout(&Entries { table: table.get_ref(), end: text.len() }).map_err(fail)?;
    layout
        .bytes_left()
        .map_err(|error| LayoutFileError::Together { file: file.to_owned(), error })?;
    Ok(layout)
}

/// A file's entries, and the byte where it ends: what is missing is missing there.
struct Entries<'a, 'i> {
    table: &'a DeTable<'i>,
    end: usize,
}

/// Where in the text, and what is wrong there.
type Fault = (usize, String);

fn layout(entries: &Entries<'_, '_>) -> Result<TrackLayout, Fault> {
    let (kind, at) = entries.word("kind")?;
    match kind {
        "soft-sector" => {
            entries.refuse_others(kind, SOFT_SECTOR_KEYS)?;
            soft_sector(entries).map(TrackLayout::SoftSector)
        }
        "full-track" => {
            entries.refuse_others(kind, FULL_TRACK_KEYS)?;
            full_track(entries).map(TrackLayout::FullTrack)
        }
        other => Err((
            at,
            format!(
                "`kind` cannot be `{}`; it takes soft-sector | full-track",
                other.escape_debug()
            ),
        )),
    }
}

fn soft_sector(entries: &Entries<'_, '_>) -> Result<Layout, Fault> {
    let recording = match entries.word("recording")? {
        ("mfm", _) => Recording::Mfm,
        ("fm", _) => Recording::Fm,
        (other, at) => {
            let other = other.escape_debug();
            return Err((at, format!("`recording` cannot be `{other}`; it takes fm | mfm")));
        }
    };
    let gap = |key| entries.number(key, u16::MAX.into()).map(|(count, _)| count as u16);
    let gap_1_bytes = gap("gap_1_bytes")?;
    let preamble = match entries.find("gap_4a_bytes") {
        Some(_) => Preamble::IndexMark { gap_4a_bytes: gap("gap_4a_bytes")?, gap_1_bytes },
        None => Preamble::GapOnly { gap_1_bytes },
    };
    let (sector_bytes, at) = entries.number("sector_bytes", u16::MAX.into())?;
    let size_code =
        (0..=MAX_SIZE_CODE).find(|code| 128 << code == sector_bytes).ok_or_else(|| {
            let why = format!(
                "`sector_bytes` cannot be {sector_bytes}; it takes 128, doubled up to \
             {MAX_SIZE_CODE} times"
            );
            (at, why)
        })?;
    Ok(Layout {
        recording,
        preamble,
        sync_bytes: gap("sync_bytes")?,
        gap_2_bytes: gap("gap_2_bytes")?,
        gap_3_bytes: gap("gap_3_bytes")?,
        sectors: entries.sectors()?,
        size_code,
        turn_bytes: entries.turn_bytes()?,
    })
}

fn full_track(entries: &Entries<'_, '_>) -> Result<FullTrack, Fault> {
    Ok(FullTrack {
        sectors: entries.sectors()?,
        sector_bytes: entries.number("sector_bytes", u16::MAX.into())?.0 as u16,
        turn_bytes: entries.turn_bytes()?,
    })
}

impl Entries<'_, '_> {
    fn sectors(&self) -> Result<u8, Fault> {
        Ok(self.number("sectors", u8::MAX.into())?.0 as u8)
    }

    fn turn_bytes(&self) -> Result<u32, Fault> {
        Ok(self.number("turn_bytes", u32::MAX)?.0)
    }

    /// A word and its place.
    fn word(&self, key: &str) -> Result<(&str, usize), Fault> {
        let value = self.value(key)?;
        let word = value.get_ref().as_str().ok_or_else(|| {
            let there = value.get_ref().type_str();
            (value.span().start, format!("`{key}` takes a word, not a value of type {there}"))
        })?;
        Ok((word, value.span().start))
    }

    /// A number from 0 to `most` and its place.
    fn number(&self, key: &str, most: u32) -> Result<(u32, usize), Fault> {
        let value = self.value(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(number) => u32::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        };
        let at = value.span().start;
        number
            .filter(|number| *number <= most)
            .map(|number| (number, at))
            .ok_or_else(|| (at, format!("`{key}` takes a whole number from 0 to {most}")))
    }

    /// The `value` of a key's table, or what the key is itself.
    fn value(&self, key: &str) -> Result<&Spanned<DeValue<'_>>, Fault> {
        let entry =
            self.find(key).ok_or_else(|| (self.end, format!("the layout has no `{key}`")))?;
        let Some(table) = entry.get_ref().as_table() else { return Ok(entry) };
        let mut found = None;
        for (name, inner) in table {
            match name.get_ref().as_ref() {
                "value" => found = Some(inner),
                "source" => {}
                other => {
                    let other = other.escape_debug();
                    let why = format!(
                        "`{key}` has no `{other}`; a key's table holds `value` and `source`"
                    );
                    return Err((name.span().start, why));
                }
            }
        }
        found.ok_or_else(|| (entry.span().start, format!("`{key}` has no `value`")))
    }

    fn find(&self, key: &str) -> Option<&Spanned<DeValue<'_>>> {
        self.table.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value)
    }

    fn refuse_others(&self, kind: &str, keys: &[&str]) -> Result<(), Fault> {
        let known = |name: &str| keys.contains(&name) || COMMON_KEYS.contains(&name);
        let unknown = self
            .table
            .iter()
            .filter(|(name, _)| !known(name.get_ref()))
            .min_by_key(|(name, _)| name.span().start);
        unknown.map_or(Ok(()), |(name, _)| {
            let why = format!(
                "a {kind} layout has no `{}`; there are {}",
                name.get_ref().escape_debug(),
                keys.join(", ")
            );
            Err((name.span().start, why))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{BUILT_IN, LayoutFileError, load, parse};
    use std::collections::BTreeSet;
    use toml::de::DeTable;
    use trackproof_model::layout::{FullTrack, Layout, TrackLayout};

    const SMALL: &str = "kind = \"full-track\"\nsectors = 2\nsector_bytes = 6\nturn_bytes = 50\n";

    fn refused(text: &str) -> String {
        parse(text, "mine.toml").expect_err(text).to_string()
    }

    fn nine_by_512(from: &str, to: &str) -> String {
        let (_, text) = BUILT_IN.iter().find(|(name, _)| *name == "mfm-9x512-6250").unwrap();
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text.replace(from, to)
    }

    #[test]
    fn the_models_own_layouts_are_those_of_their_files() {
        assert_eq!(load("mfm-9x512-6250"), Ok(TrackLayout::SoftSector(Layout::MFM_9_BY_512)));
        assert_eq!(load("full-track-10x512"), Ok(TrackLayout::FullTrack(FullTrack::TEN_BY_512)));
    }

    #[test]
    fn every_layout_file_is_built_in_and_differs_from_the_others() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../reference-model/layouts");
        let files: BTreeSet<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.is_file())
            .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
            .collect();
        let names: BTreeSet<String> = BUILT_IN.iter().map(|(name, _)| (*name).into()).collect();
        assert_eq!(files, names);
        let layouts: Vec<_> = names.iter().map(|name| load(name).unwrap()).collect();
        for (place, layout) in layouts.iter().enumerate() {
            assert!(!layouts[..place].contains(layout), "{layout:?} twice");
        }
    }

    #[test]
    fn every_value_of_the_built_in_files_has_its_source_beside_it() {
        for (name, text) in BUILT_IN {
            for (key, value) in DeTable::parse(text).unwrap().get_ref() {
                let source = || value.get_ref().get("source")?.get_ref().as_str();
                let key = key.get_ref().as_ref();
                assert!(
                    key == "kind" || source().is_some_and(|source| source.len() > 3),
                    "{name}: {key}"
                );
            }
        }
    }

    #[test]
    fn a_file_that_is_not_there_says_what_there_is() {
        let text = load("nowhere.toml").unwrap_err().to_string();
        assert!(text.starts_with("layout `nowhere.toml`: no built-in layout (fm-16x128"), "{text}");
    }

    #[test]
    fn texts_that_are_no_layout_are_refused_with_their_place() {
        for (text, why) in [
            ("", "mine.toml:1:1: the layout has no `kind`"),
            ("kind = 3", "mine.toml:1:8: `kind` takes a word, not a value of type integer"),
            (
                "kind = \"spiral\"",
                "mine.toml:1:8: `kind` cannot be `spiral`; it takes soft-sector | full-track",
            ),
            ("kind", "mine.toml:1:5: key with no value, expected `=`"),
            (
                &SMALL.replace("sectors", "tracks"),
                "mine.toml:2:1: a full-track layout has no `tracks`; there are sectors, \
                 sector_bytes, turn_bytes",
            ),
            (&SMALL.replace("sectors = 2\n", ""), "mine.toml:4:1: the layout has no `sectors`"),
            (
                &SMALL.replace("sectors = 2", "sectors = 256"),
                "mine.toml:2:11: `sectors` takes a whole number from 0 to 255",
            ),
            (
                &SMALL.replace("sectors = 2", "sectors = -1"),
                "mine.toml:2:11: `sectors` takes a whole number from 0 to 255",
            ),
            (
                &SMALL.replace("sectors = 2", "sectors = { value = 2, sauce = \"\" }"),
                "mine.toml:2:24: `sectors` has no `sauce`; a key's table holds `value` and \
                 `source`",
            ),
            (
                &SMALL.replace("sectors = 2", "sectors = { source = \"\" }"),
                "mine.toml:2:11: `sectors` has no `value`",
            ),
        ] {
            assert_eq!(refused(text), why);
        }
        let text = nine_by_512("value = 512", "value = 500");
        assert!(
            refused(&text)
                .ends_with("`sector_bytes` cannot be 500; it takes 128, doubled up to 7 times")
        );
        let text = nine_by_512("\"mfm\"", "\"mfm2\"");
        assert!(refused(&text).ends_with("`recording` cannot be `mfm2`; it takes fm | mfm"));
    }

    #[test]
    fn numbers_may_be_written_in_any_radix_and_beside_their_source() {
        let text = SMALL.replace("sectors = 2", "sectors = { value = 0x02, source = \"ours\" }");
        assert_eq!(parse(&text, "mine.toml"), parse(SMALL, "mine.toml"));
    }

    #[test]
    fn a_layout_that_does_not_fit_is_refused_with_the_arithmetic() {
        let text = SMALL.replace("turn_bytes = 50", "turn_bytes = 41");
        assert_eq!(
            refused(&text),
            "mine.toml: the layout takes 2 x 21 = 42 bytes, a turn has 41, 1 fewer: leave out \
             sectors"
        );
        let text = nine_by_512("value = 6250", "value = 50001");
        assert!(matches!(parse(&text, ""), Err(LayoutFileError::Together { .. })));
    }
}
