//! Case files: one finding as a self-contained JSON file that replays anywhere.
//!
//! Whatever is read is untrusted: bounded before it is read, parsed strictly, checked against
//! every limit of a case, and escaped where an error shows it. An unknown field or operation is
//! refused, since a case without it would be another case. What the rules are is not known here.

mod error;

pub use error::CaseFileError;
use error::{invalid, io_error, shown, text_error};

use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use serde::de::{DeserializeOwned, Deserializer, Error as _};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use trackproof_contract::{Bench, Case, Flux, Operation, Profile, Track};

use crate::campaign::{Earlier, Finding, MAX_EARLIER};
use crate::relation::Relation;

/// The format that this version writes; it reads every one up to it.
pub const FORMAT: u32 = 1;

/// Largest case file: the largest case has its tracks in hex, 200 kB a track; a finding that was
/// minimised has some hundred bytes.
pub const MAX_CASE_FILE_BYTES: u64 = 64 << 20;

/// Longest rule or kind: a file name must hold both.
const MAX_NAME_BYTES: usize = 64;

/// One finding and the case that shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CaseFile {
    /// The rule that is broken.
    pub rule: String,
    /// How it is broken.
    pub kind: String,
    /// For metamorphic rules, how the second run differs.
    pub relation: Option<Relation>,
    /// The version of the reference model that judged.
    pub model: String,
    /// Where the case comes from (seed and index, say): for people; nothing is made from it.
    pub note: String,
    /// Whether the minimiser came to its end.
    pub minimised: bool,
    /// Cases without which it does not show. They are made anew, so they are those of this version
    /// of the generator.
    pub earlier: Option<Earlier>,
    /// The case.
    pub case: Case,
}

/// The reference model's version, which is the program's: they are released together.
pub const MODEL: &str = env!("CARGO_PKG_VERSION");

impl CaseFile {
    /// The file of a finding.
    #[must_use]
    pub fn of(finding: &Finding, minimised: bool, note: String) -> Self {
        Self {
            rule: finding.rule.id.into(),
            kind: finding.kind.into(),
            relation: finding.cause.relation(),
            model: MODEL.into(),
            note,
            minimised,
            earlier: finding.earlier,
            case: finding.case.clone(),
        }
    }
}

/// What every format has.
#[derive(Deserialize)]
struct AnyFormat {
    format: Option<Value>,
}

/// Format 1, as read.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Read1 {
    #[serde(rename = "format")]
    _format: u32,
    rule: String,
    kind: String,
    relation: Option<Strict<Relation>>,
    model: String,
    note: String,
    minimised: bool,
    earlier: Option<Earlier>,
    case: Case1,
}

/// A case of format 1, as read.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case1 {
    profile: Profile,
    bench: Bench,
    tracks: Vec<Track>,
    program: Vec<Strict<Operation>>,
    #[serde(default)]
    flux: Option<Flux>,
}

/// A tagged value that is refused when it has a field that it would not be written with: serde
/// lets variants without fields take any field in silence.
struct Strict<T>(T);

impl<'de, T: DeserializeOwned + Serialize> Deserialize<'de> for Strict<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let given = Map::<String, Value>::deserialize(deserializer)?;
        let value = T::deserialize(Value::Object(given.clone())).map_err(D::Error::custom)?;
        let written = serde_json::to_value(&value).map_err(D::Error::custom)?;
        match given.keys().find(|name| written.get(name.as_str()).is_none()) {
            Some(name) => Err(D::Error::custom(format!("unknown field `{name}`"))),
            None => Ok(Self(value)),
        }
    }
}

/// The newest format, as written.
#[derive(Serialize)]
struct Written<'a> {
    format: u32,
    rule: &'a str,
    kind: &'a str,
    relation: Option<Relation>,
    model: &'a str,
    note: &'a str,
    minimised: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    earlier: Option<Earlier>,
    case: &'a Case,
}

impl CaseFile {
    /// Reads a case file.
    ///
    /// # Errors
    /// One error with the file, the place, what is there and what may be there.
    pub fn read(path: &Path) -> Result<Self, CaseFileError> {
        let io = |doing| move |error| io_error(path, doing, &error);
        let too_large = || CaseFileError::TooLarge { path: path.to_owned() };
        let file = File::open(path).map_err(io("open"))?;
        if file.metadata().map_err(io("read"))?.len() > MAX_CASE_FILE_BYTES {
            return Err(too_large());
        }
        let mut bytes = Vec::new();
        // The length may lie (a pipe has none), so the limit holds for the reading too.
        file.take(MAX_CASE_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(io("read"))?;
        if bytes.len() as u64 > MAX_CASE_FILE_BYTES {
            return Err(too_large());
        }
        Self::parse(&bytes, path)
    }

    /// Reads a case file's text; `path` is for the error.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self, CaseFileError> {
        let text_error = |error| text_error(path, &error);
        let any: AnyFormat = serde_json::from_slice(bytes).map_err(text_error)?;
        let Some(format) = any.format else {
            return Err(invalid(path, "format", "missing, so this is no case file".into()));
        };
        if format.as_u64() != Some(u64::from(FORMAT)) {
            let text = shown(&format.to_string());
            return Err(if format.as_f64().is_some_and(|number| number > f64::from(FORMAT)) {
                CaseFileError::Newer { path: path.to_owned(), format: text }
            } else {
                invalid(path, "format", format!("{text}, but the formats are 1 to {FORMAT}"))
            });
        }
        let read: Read1 = serde_json::from_slice(bytes).map_err(text_error)?;
        let Case1 { profile, bench, tracks, program, flux } = read.case;
        let program = program.into_iter().map(|operation| operation.0).collect();
        let file = Self {
            rule: read.rule,
            kind: read.kind,
            relation: read.relation.map(|relation| relation.0),
            model: read.model,
            note: read.note,
            minimised: read.minimised,
            earlier: read.earlier,
            case: Case { profile, bench, tracks, program, flux },
        };
        file.check(path)?;
        Ok(file)
    }

    /// The file's text, the same for the same finding on every machine.
    ///
    /// # Errors
    /// When the case or a name breaks a limit: what cannot be read is not written.
    pub fn to_text(&self) -> Result<String, CaseFileError> {
        let path = Path::new("case file");
        self.check(path)?;
        let written = Written {
            format: FORMAT,
            rule: &self.rule,
            kind: &self.kind,
            relation: self.relation,
            model: &self.model,
            note: &self.note,
            minimised: self.minimised,
            earlier: self.earlier,
            case: &self.case,
        };
        let mut text = serde_json::to_string_pretty(&written)
            .map_err(|error| invalid(path, "case", error.to_string()))?;
        text.push('\n');
        if text.len() as u64 > MAX_CASE_FILE_BYTES {
            return Err(CaseFileError::TooLarge { path: path.to_owned() });
        }
        Ok(text)
    }

    /// The name of the file in its folder: `RULE-KIND.json`.
    #[must_use]
    pub fn file_name(&self) -> String {
        format!("{}-{}.json", self.rule, self.kind)
    }

    /// Writes the file into a folder, which is made if it is missing, in one step: a reader sees
    /// the old file or the whole new one, whenever this process dies.
    ///
    /// # Errors
    /// Says which file or folder, and the system's reason.
    pub fn write(&self, dir: &Path) -> Result<PathBuf, CaseFileError> {
        static WRITTEN: AtomicU32 = AtomicU32::new(0);
        let text = self.to_text()?;
        fs::create_dir_all(dir).map_err(|error| io_error(dir, "create", &error))?;
        let path = dir.join(self.file_name());
        let number = WRITTEN.fetch_add(1, Ordering::Relaxed);
        let part = dir.join(format!(".{}-{}-{number}.part", self.file_name(), std::process::id()));
        let written = write_new(&part, text.as_bytes())
            .map_err(|error| io_error(&part, "write", &error))
            .and_then(|()| {
                fs::rename(&part, &path).map_err(|error| io_error(&path, "replace", &error))
            });
        if written.is_err() {
            // The first error is the one to tell; a part that stays does no harm.
            let _ = fs::remove_file(&part);
        }
        written.map(|()| path)
    }

    /// Checks the names, which become a file name, and the case's limits.
    fn check(&self, path: &Path) -> Result<(), CaseFileError> {
        for (place, name) in [("rule", &self.rule), ("kind", &self.kind)] {
            let word = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
            let words = name.split('.').all(|part| !part.is_empty() && part.chars().all(word));
            if !words || name.len() > MAX_NAME_BYTES {
                let why = format!(
                    "`{}`, it must be words of a-z, 0-9 and `-` with dots between, \
                     {MAX_NAME_BYTES} characters at most",
                    shown(name)
                );
                return Err(invalid(path, place, why));
            }
        }
        if let Some(Earlier { first, count, .. }) = self.earlier
            && (!(1..=MAX_EARLIER).contains(&count) || first.checked_add(count).is_none())
        {
            let why = format!(
                "{count} cases from number {first}, the limits are 1 and {MAX_EARLIER} cases"
            );
            return Err(invalid(path, "earlier", why));
        }
        self.case
            .validate()
            .map_err(|error| invalid(path, &format!("case.{}", error.place), error.why))
    }
}

fn write_new(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    // Before the rename, or a power cut could leave the new name with no content.
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::{CaseFile, Earlier, MAX_CASE_FILE_BYTES};
    use crate::relation::Relation;
    use std::fs::{self, File};
    use std::path::{Path, PathBuf};
    use trackproof_contract::{
        Bench, Case, ChangeClear, ChannelBits, Direction, DriveBench, Flux, HostService, Medium,
        Operation, Profile, SectorLayout, Speed, Splice, Stall, Start, Track, WriteSource,
    };

    const FIXTURE: &str = include_str!("../tests/fixtures/case-format-1.json");

    fn every_operation() -> Vec<Operation> {
        let stalls = vec![Stall { from_ns: 32_000, length_ns: 96_000 }];
        let service = HostService { first_ns: 2_000, interval_ns: 32_000, stalls };
        vec![
            Operation::Select { mask: 1 },
            Operation::Motor { mask: 3 },
            Operation::Side { side: 1 },
            Operation::Step { direction: Direction::In },
            Operation::SyncWord { word: 0x5224 },
            Operation::HardwareSync { on: true },
            Operation::Read { words: 3, start: Start::Match, service: service.clone() },
            Operation::Read { words: 1, start: Start::Now, service: service.clone() },
            Operation::Read { words: 1, start: Start::Index, service },
            Operation::Wait { ns: 1_000_000 },
            Operation::PollStatus,
            Operation::PollByte,
            Operation::Output { value: 7 },
            Operation::Abort,
            Operation::Step { direction: Direction::Out },
            Operation::HardwareSync { on: false },
            Operation::Reset,
        ]
    }

    fn sample() -> CaseFile {
        let drive = |change_clear| DriveBench {
            turn_bits: 20,
            start_bit: 3,
            cylinder: 5,
            write_protected: true,
            spin_up_ns: 500_000,
            change_clear,
        };
        let track = ChannelBits::from_bytes(&[0x44, 0x89, 0xa0], 20);
        let medium = Medium::image_bits(track);
        CaseFile {
            rule: "sync.phase".into(),
            kind: "word-missing".into(),
            relation: Some(Relation::Rotation { bits: 3 }),
            model: "0.1.0".into(),
            note: "seed 1, index 42".into(),
            minimised: false,
            earlier: None,
            case: Case {
                profile: Profile::sync_dma(),
                bench: Bench {
                    access_ns: 400,
                    drives: vec![drive(ChangeClear::Step), drive(ChangeClear::Select)],
                },
                tracks: vec![Track { drive: 1, cylinder: 5, side: 0, medium }],
                program: every_operation(),
                flux: None,
            },
        }
    }

    /// A folder of the test's own, removed at its end.
    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let folder = std::env::temp_dir().join(format!("{name}-{}", std::process::id()));
            fs::create_dir_all(&folder).unwrap();
            Self(folder)
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn refused(text: impl AsRef<[u8]>) -> String {
        CaseFile::parse(text.as_ref(), Path::new("a.json")).expect_err("refused").to_string()
    }

    /// The fixture with one piece of text replaced.
    fn changed(from: &str, to: &str) -> String {
        assert!(FIXTURE.contains(from), "{from}");
        FIXTURE.replacen(from, to, 1)
    }

    /// With writes, an image-backed track and a medium of kind `real`.
    fn writing_sample() -> CaseFile {
        let service = HostService { first_ns: 2_000, interval_ns: 32_000, stalls: Vec::new() };
        let words = WriteSource::Words(ChannelBits::from_bytes(&[0x44, 0x89, 0x55, 0x54], 32));
        let copy = |align| WriteSource::Copy { transfer: 0, align, skip: 1, count: 9 };
        let write = |source, start| Operation::Write { source, start, service: service.clone() };
        let read = Operation::Read { words: 3, start: Start::Now, service: service.clone() };
        let layout = SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 };
        let sectors = ChannelBits::from_bytes(&[0xe5, 0x01], 16);
        let real = Medium::real_bits(ChannelBits::zeros(20));
        let mut file = sample();
        file.rule = "write.words".into();
        file.relation = None;
        file.case.bench.drives[0].turn_bits = 288;
        file.case.bench.drives[1].turn_bits = 20;
        file.case.tracks = vec![
            Track { drive: 0, cylinder: 0, side: 0, medium: Medium::Image { layout, sectors } },
            Track { drive: 1, cylinder: 0, side: 1, medium: real },
        ];
        file.case.program = vec![
            read,
            write(words, Start::Now),
            write(copy(None), Start::Index),
            write(copy(Some(0x4489)), Start::Match),
        ];
        file
    }

    /// Written when writing came. It stays readable.
    const WRITING_FIXTURE: &str = include_str!("../tests/fixtures/case-format-1-writing.json");

    /// Written when flux came.
    const FLUX_FIXTURE: &str = include_str!("../tests/fixtures/case-format-1-flux.json");

    fn flux_sample() -> CaseFile {
        let mut file = sample();
        (file.rule, file.kind) = ("separator.legal".into(), "pushed".into());
        file.relation = None;
        file.case.bench = Bench { access_ns: 0, drives: Vec::new() };
        file.case.tracks.clear();
        file.case.program.clear();
        file.case.flux = Some(Flux {
            bits: ChannelBits::from_bytes(&[0xaa, 0x92, 0x80], 17),
            speed: Speed::Sinusoid { base_ppm: -30_000, swing_ppm: 80_000 },
            peak_shift: 100,
            displaced: Vec::new(),
            splices: vec![Splice { cell: 5, moved: -250 }],
        });
        file
    }

    #[test]
    fn a_file_of_format_1_stays_readable() {
        let file = CaseFile::parse(FIXTURE.as_bytes(), Path::new("a.json")).unwrap();
        assert_eq!(file, sample());
    }

    #[test]
    fn a_file_with_writes_stays_readable() {
        let file = CaseFile::parse(WRITING_FIXTURE.as_bytes(), Path::new("a.json")).unwrap();
        assert_eq!(file, writing_sample());
        assert_eq!(file.case.validate(), Ok(()));
    }

    #[test]
    fn a_file_with_flux_stays_readable_and_comes_back_byte_for_byte() {
        let file = CaseFile::parse(FLUX_FIXTURE.as_bytes(), Path::new("a.json")).unwrap();
        assert_eq!(file, flux_sample());
        assert_eq!(file.to_text().unwrap(), FLUX_FIXTURE);
    }

    #[test]
    fn flux_stands_alone_and_keeps_its_limits() {
        let mut file = flux_sample();
        file.case.program.push(Operation::PollStatus);
        let error = file.to_text().unwrap_err().to_string();
        assert!(error.contains("case.flux") && error.contains("stands alone"), "{error}");
        for (from, to, told) in [
            ("\"peak_shift\": 100", "\"peak_shift\": 401", "flux.peak_shift"),
            ("\"cell\": 5", "\"cell\": 17", "flux.splices[0]"),
            ("\"speed\": \"sinusoid\"", "\"speed\": \"warped\"", "warped"),
            ("\"moved\": -250", "\"moved\": -250, \"far\": 1", "far"),
        ] {
            assert!(FLUX_FIXTURE.contains(from), "{from}");
            let error = refused(FLUX_FIXTURE.replacen(from, to, 1));
            assert!(error.contains(told), "{told}: {error}");
        }
    }

    #[test]
    fn earlier_cases_survive_within_their_limits() {
        let earlier = Some(Earlier { seed: u64::MAX, first: 7, count: 999 });
        let file = CaseFile { earlier, ..sample() };
        let text = file.to_text().unwrap();
        assert_eq!(CaseFile::parse(text.as_bytes(), Path::new("a.json")), Ok(file));
        for (from, to) in
            [("999", "0"), ("999", "1025"), ("\"first\": 7", "\"first\": 18446744073709551615")]
        {
            assert!(text.contains(from));
            assert!(refused(text.replacen(from, to, 1)).contains("earlier: "), "{to}");
        }
    }

    #[test]
    fn every_relation_survives() {
        for relation in [
            None,
            Some(Relation::Output),
            Some(Relation::Poll),
            Some(Relation::Drives),
            Some(Relation::Rotation { bits: 9 }),
            Some(Relation::Shift { turns: 2 }),
        ] {
            let file = CaseFile { relation, ..sample() };
            let text = file.to_text().unwrap();
            assert_eq!(CaseFile::parse(text.as_bytes(), Path::new("a.json")).unwrap(), file);
        }
    }

    #[test]
    fn a_newer_format_is_refused_before_anything_else_is_looked_at() {
        for format in ["2", "1.5", "18446744073709551615", "1e+300"] {
            let error = refused(format!("{{\"format\": {format}, \"new\": true}}"));
            assert!(error.contains(&format!("\"format\" is {format},")), "{error}");
            assert!(error.contains("written by a newer trackproof"), "{error}");
        }
        for format in ["0", "-1", "\"1\"", "true", "[1]"] {
            let error = refused(format!("{{\"format\": {format}, \"new\": true}}"));
            assert!(error.contains(&format!("format: {format}, but the formats are 1")), "{error}");
        }
        assert!(refused("{}").contains("format: missing"));
    }

    #[test]
    fn unknown_fields_and_operations_are_refused_with_the_place() {
        for (from, to, name) in [
            ("\"note\":", "\"more\": 1, \"note\":", "`more`"),
            ("\"access_ns\":", "\"more\": 1, \"access_ns\":", "`more`"),
            ("\"turn_bits\":", "\"more\": 1, \"turn_bits\":", "`more`"),
            ("\"side\": 0,", "\"more\": 1, \"side\": 0,", "`more`"),
            ("\"kind\": \"image\"", "\"more\": 1, \"kind\": \"image\"", "`more`"),
            ("\"bits\": 20", "\"more\": 1, \"bits\": 20", "`more`"),
            ("\"recording\":", "\"more\": \"1\", \"recording\":", "`more`"),
            ("\"change\": \"rotation\"", "\"change\": \"rotation\", \"more\": 1", "`more`"),
            ("\"from_ns\":", "\"more\": 1, \"from_ns\":", "`more`"),
            ("\"op\": \"select\"", "\"op\": \"select\", \"more\": 1", "`more`"),
            ("\"op\": \"abort\"", "\"op\": \"abort\", \"more\": 1", "`more`"),
            ("\"op\": \"reset\"", "\"op\": \"erase\"", "`erase`"),
            ("\"start\": \"match\"", "\"start\": \"sector\"", "`sector`"),
            ("\"change\": \"rotation\"", "\"change\": \"mirror\"", "`mirror`"),
            ("\"change\": \"rotation\"", "\"change\": \"poll\"", "`bits`"),
            ("\"partial\": \"drop\"", "\"partial\": \"keep\"", "`keep`"),
        ] {
            let error = refused(changed(from, to));
            assert!(error.contains(name), "{from}: {error}");
            assert!(error.contains("written by a newer trackproof"), "{from}: {error}");
            let place: Vec<&str> = error.splitn(4, ':').collect();
            assert!(place[1].parse::<u32>().is_ok(), "{error}");
            assert!(place[2].parse::<u32>().is_ok(), "{error}");
        }
        let error = refused("{\n  \"format\": 1,\n  \"rules\": \"sync.none\"\n}");
        assert!(error.starts_with("a.json:3:9: unknown field `rules`, expected"), "{error}");
    }

    #[test]
    fn a_missing_or_doubled_field_is_refused() {
        assert!(refused(changed("\"minimised\": false,", "")).contains("`minimised`"));
        let doubled = changed("\"note\":", "\"note\": \"\", \"note\":");
        assert!(refused(doubled).contains("duplicate field `note`"));
    }

    #[test]
    fn what_is_no_json_or_cut_short_is_one_clear_error() {
        assert!(refused("rule = 1").contains("a.json:1:1: "));
        assert!(refused("rule = 1").contains("this is not JSON"));
        assert!(refused([0xff, 0xfe, 0]).contains("this is not JSON"));
        assert!(refused("").contains("cut short"));
        for cut in [1, 100, FIXTURE.len() / 2, FIXTURE.len() - 3] {
            let error = refused(&FIXTURE[..cut]);
            assert!(error.contains("the file is cut short"), "{cut}: {error}");
        }
        assert!(refused(format!("{FIXTURE}{{")).contains("trailing characters"));
        assert!(refused("[".repeat(100_000)).contains("a.json:1:"));
    }

    #[test]
    fn odd_hex_and_lengths_that_lie_are_refused_with_value_and_limit() {
        for (from, to, expected) in [
            ("\"4489a0\"", "\"4489a\"", "takes 6 hex digits, but \"hex\" has 5"),
            ("\"4489a0\"", "\"4489x0\"", "no hex digit"),
            ("\"4489a0\"", "\"4489a1\"", "ones beyond its 20 bits"),
            ("\"bits\": 20", "\"bits\": 999999999999", "at most 800000 channel bits"),
            ("\"bits\": 20", "\"bits\": 24", "24 channel bits, but drive 1 has 20 a turn"),
            ("\"bits\": 20", "\"bits\": -1", "invalid value"),
            ("\"mask\": 3", "\"mask\": 8", "case.program[1]: mask 0x8"),
            ("\"cylinder\": 5", "\"cylinder\": 300", "300"),
            ("\"words\": 3", "\"words\": 70000", "70000 words"),
        ] {
            let error = refused(changed(from, to));
            assert!(error.contains(expected), "{to}: {error}");
        }
    }

    #[test]
    fn a_file_over_the_limit_is_refused_unread() {
        let folder = Folder::new("case-file-large");
        let path = folder.0.join("large.json");
        File::create(&path).unwrap().set_len(MAX_CASE_FILE_BYTES + 1).unwrap();
        let error = CaseFile::read(&path).unwrap_err().to_string();
        assert!(error.ends_with("larger than 67108864 bytes, the limit of a case file"), "{error}");
        let error = CaseFile::read(&folder.0.join("none.json")).unwrap_err().to_string();
        assert!(error.contains("none.json: cannot open:"), "{error}");
    }

    #[test]
    fn what_is_written_is_read_and_replaces_what_was_there() {
        let folder = Folder::new("case-file-written");
        let path = sample().write(&folder.0).unwrap();
        assert_eq!(path, folder.0.join("sync.phase-word-missing.json"));
        assert_eq!(CaseFile::read(&path).unwrap(), sample());
        let smaller = CaseFile { minimised: true, ..sample() };
        assert_eq!(smaller.write(&folder.0).unwrap(), path);
        assert_eq!(CaseFile::read(&path).unwrap(), smaller);
        assert_eq!(fs::read_dir(&folder.0).unwrap().count(), 1, "no part is left");
    }

    #[test]
    fn a_folder_that_cannot_be_written_is_named() {
        let folder = Folder::new("case-file-blocked");
        let blocked = folder.0.join("file");
        fs::write(&blocked, "").unwrap();
        let error = sample().write(&blocked.join("out")).unwrap_err().to_string();
        assert!(error.contains("cannot create"), "{error}");
        fs::create_dir(folder.0.join("sync.phase-word-missing.json")).unwrap();
        let error = sample().write(&folder.0).unwrap_err().to_string();
        assert!(error.contains("sync.phase-word-missing.json: cannot replace"), "{error}");
        assert_eq!(fs::read_dir(&folder.0).unwrap().count(), 2, "no part is left");
    }

    #[test]
    fn names_that_would_leave_the_folder_are_refused_both_ways() {
        for rule in ["", "../up", "a/b", "A", "a..b", ".a", "a b"] {
            let file = CaseFile { rule: rule.into(), ..sample() };
            let error = file.write(Path::new("/nowhere")).unwrap_err().to_string();
            assert!(error.contains("case file: rule: "), "{error}");
        }
        assert!(refused(changed("\"sync.phase\"", "\"../up\"")).contains("rule: `../up`"));
    }

    #[test]
    fn foreign_text_is_shown_without_control_characters_and_not_without_end() {
        let error = refused("{\"format\": 1, \"\\u001b[31m\": 1}");
        assert!(error.contains("\\u{1b}[31m") && !error.contains('\u{1b}'), "{error}");
        let error = refused(format!("{{\"format\": 1, \"{}\": 1}}", "x".repeat(100_000)));
        assert!(error.len() < 1_000);
    }
}
