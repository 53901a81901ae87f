//! The folder of a run: what is found is there at once, and a run that was ended at any point goes
//! on from there.
//!
//! ```text
//! run.json       what the run is, and its counts: written anew every second
//! cases/         a case file a finding, RULE-KIND.json
//! corpus/        streams of choices, one a file, named by their hash
//! log.txt        what happened, a line each
//! summary.json   the short list; summary.txt the same as text
//! ```
//!
//! Files are replaced whole. What cannot be written is told once and tried again at its next turn;
//! what is foreign or damaged is told, and left as it is.

use super::corpus::file_name;
use super::mutate::MAX_STREAM_BYTES;
use super::record::Record;
use crate::campaign::Finding;
use crate::case_file::CaseFile;
use std::collections::BTreeMap;
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Largest file of counts.
const MAX_RECORD_BYTES: u64 = 4 << 20;

/// Most files that are looked at in one of the folders.
const MOST_FILES: usize = 100_000;

/// Largest log; lines beyond it are left out.
const MAX_LOG_BYTES: u64 = 64 << 20;

/// Most troubles that are told one by one.
const MOST_TROUBLES: usize = 20;

/// Why a folder cannot be used. Nothing in it was touched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FolderError {
    /// It cannot be made, listed or read.
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What was to be done.
        doing: &'static str,
        /// The system's reason.
        why: String,
    },
    /// It is that of another run.
    Other {
        /// The folder.
        path: PathBuf,
        /// In what it differs: what is there, and what this run has.
        why: String,
    },
}

impl fmt::Display for FolderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io { path, doing, why } => write!(f, "{}: cannot {doing}: {why}", path.display()),
            Self::Other { path, why } => write!(
                f,
                "{}: this is the folder of another run: {why}. It was left as it is; name another \
                 one with --out",
                path.display()
            ),
        }
    }
}

impl std::error::Error for FolderError {}

/// The folder.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    troubles: Mutex<Vec<String>>,
    /// Whether something could not be written.
    failed: AtomicBool,
}

/// What was in a folder.
#[derive(Debug, Default)]
pub(super) struct Contents {
    pub(super) record: Option<Record>,
    pub(super) cases: BTreeMap<PathBuf, CaseFile>,
    /// The names of files in `corpus`, and what they hold.
    pub(super) corpus: Vec<(String, Vec<u8>)>,
}

impl Folder {
    /// The folder at a path; it is made if it is missing.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn open(path: &Path) -> Result<Self, FolderError> {
        for one in [path.to_owned(), path.join("cases"), path.join("corpus")] {
            fs::create_dir_all(&one).map_err(|error| FolderError::Io {
                path: one,
                doing: "make the folder",
                why: error.to_string(),
            })?;
        }
        Ok(Self {
            path: path.to_owned(),
            troubles: Mutex::default(),
            failed: AtomicBool::new(false),
        })
    }

    /// A folder to read only; nothing is made.
    pub(super) fn that_is(path: &Path) -> Self {
        Self { path: path.to_owned(), troubles: Mutex::default(), failed: AtomicBool::new(false) }
    }

    /// Whether counts of a run are there.
    pub(super) fn holds_a_run(&self) -> bool {
        self.path.join("run.json").exists()
    }

    /// The bytes of `run.json`; none of one that is too large.
    pub(super) fn record_bytes(&self) -> io::Result<Vec<u8>> {
        let bytes = read_at_most(&self.path.join("run.json"), MAX_RECORD_BYTES)?;
        Ok(bytes.unwrap_or_default())
    }

    /// The path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What could not be written or read, each in a sentence.
    #[must_use]
    pub fn troubles(&self) -> Vec<String> {
        self.troubles.lock().unwrap_or_else(|poison| poison.into_inner()).clone()
    }

    /// Whether something could not be written at some time.
    #[must_use]
    pub fn failed(&self) -> bool {
        self.failed.load(Ordering::Relaxed)
    }

    /// Notes what cannot be written.
    fn lost(&self, path: &Path, what: &str) {
        self.failed.store(true, Ordering::Relaxed);
        self.trouble(path, what);
    }

    /// Notes a file that is left as it is.
    pub(super) fn pass_over(&self, path: &Path, why: &str) {
        self.trouble(path, why);
    }

    fn trouble(&self, path: &Path, what: &str) {
        self.note_trouble(&format!("{}: {what}", path.display()));
    }

    /// Notes what is to be told, each sentence once.
    pub(super) fn note_trouble(&self, text: &str) {
        let mut troubles = self.troubles.lock().unwrap_or_else(|poison| poison.into_inner());
        if troubles.len() < MOST_TROUBLES && !troubles.iter().any(|told| told == text) {
            troubles.push(text.to_owned());
        }
    }

    /// Reads what there is. Its counts must be those of a run like `own`.
    ///
    /// # Errors
    /// When it is the folder of another run, or cannot be listed.
    pub(super) fn contents(&self, own: &Record) -> Result<Contents, FolderError> {
        let record = self.record(own)?;
        Ok(Contents { record, cases: self.cases()?, corpus: self.streams()? })
    }

    /// The case files.
    pub(super) fn cases(&self) -> Result<BTreeMap<PathBuf, CaseFile>, FolderError> {
        let mut cases = BTreeMap::new();
        for path in self.files("cases")? {
            match CaseFile::read(&path) {
                Ok(file) => drop(cases.insert(path, file)),
                Err(error) => self.trouble(&path, &format!("passed over: {error}")),
            }
        }
        Ok(cases)
    }

    /// The streams of the corpus, with the names of their files.
    pub(super) fn streams(&self) -> Result<Vec<(String, Vec<u8>)>, FolderError> {
        let mut streams = Vec::new();
        for path in self.files("corpus")? {
            match read_at_most(&path, MAX_STREAM_BYTES as u64) {
                Ok(Some(bytes)) => {
                    let name = path.file_name().unwrap_or_default().to_string_lossy();
                    streams.push((name.into_owned(), bytes));
                }
                Ok(None) => {
                    let why = format!("passed over: over {MAX_STREAM_BYTES} bytes");
                    self.trouble(&path, &why);
                }
                Err(error) => self.trouble(&path, &format!("passed over: {error}")),
            }
        }
        Ok(streams)
    }

    fn record(&self, own: &Record) -> Result<Option<Record>, FolderError> {
        let path = self.path.join("run.json");
        let bytes = match read_at_most(&path, MAX_RECORD_BYTES) {
            Ok(Some(bytes)) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Ok(None) => Vec::new(),
            Err(error) => {
                let why = error.to_string();
                return Err(FolderError::Io { path, doing: "read", why });
            }
        };
        match Record::read(&bytes) {
            Ok(record) => match record.differs_from(own) {
                Some(why) => Err(FolderError::Other { path: self.path.clone(), why }),
                None => Ok(Some(record)),
            },
            Err(super::record::Unreadable::Version(why)) => {
                Err(FolderError::Other { path: self.path.clone(), why })
            }
            Err(super::record::Unreadable::Damaged(why)) => {
                let kept = self.path.join("run.damaged.json");
                let moved = fs::rename(&path, &kept);
                let what = format!(
                    "its counts cannot be read ({why}) and begin anew; {}. Cases and corpus stay",
                    match moved {
                        Ok(()) => format!("the file is now {}", kept.display()),
                        Err(error) => format!("it cannot be moved: {error}"),
                    }
                );
                self.trouble(&path, &what);
                Ok(None)
            }
        }
    }

    /// The files of a folder within, in the order of their names; others are told and passed over.
    fn files(&self, within: &str) -> Result<Vec<PathBuf>, FolderError> {
        let folder = self.path.join(within);
        let cannot = |error: io::Error| FolderError::Io {
            path: folder.clone(),
            doing: "list",
            why: error.to_string(),
        };
        let mut files = Vec::new();
        for entry in fs::read_dir(&folder).map_err(cannot)? {
            let entry = entry.map_err(cannot)?;
            let path = entry.path();
            let name = entry.file_name();
            if name.as_encoded_bytes().first() == Some(&b'.') {
                // Parts of files that were never finished.
                continue;
            }
            if !entry.file_type().is_ok_and(|kind| kind.is_file()) {
                self.trouble(&path, "passed over: it is no file");
            } else if files.len() < MOST_FILES {
                files.push(path);
            } else {
                self.trouble(&folder, &format!("more than {MOST_FILES} files, the rest is left"));
                break;
            }
        }
        files.sort();
        Ok(files)
    }

    /// Writes the counts.
    pub(super) fn save(&self, record: &Record) {
        self.write("run.json", record.text().as_bytes());
    }

    /// Writes a file whole; whether that could be done.
    pub fn write(&self, name: &str, bytes: &[u8]) -> bool {
        let path = self.path.join(name);
        let part = self.path.join(format!(".{name}.part"));
        let written = fs::write(&part, bytes).and_then(|()| fs::rename(&part, &path));
        if let Err(error) = &written {
            let _ = fs::remove_file(&part);
            self.lost(&path, &format!("cannot be written: {error}"));
        }
        written.is_ok()
    }

    /// Writes a case file; its path within the folder if that could be done.
    pub(super) fn save_case(
        &self,
        finding: &Finding,
        minimised: bool,
        note: String,
    ) -> Option<String> {
        self.copy_case(&CaseFile::of(finding, minimised, note))
    }

    /// Writes a case file as it is; its path within the folder if that could be done.
    pub(super) fn copy_case(&self, file: &CaseFile) -> Option<String> {
        let cases = self.path.join("cases");
        match file.write(&cases) {
            Ok(_) => Some(format!("cases/{}", file.file_name())),
            Err(error) => {
                self.lost(&cases.join(file.file_name()), &format!("not written: {error}"));
                None
            }
        }
    }

    /// Removes the file of a finding that has another name now.
    pub(super) fn remove_case(&self, (rule, kind): (&str, &str)) {
        // That it is gone already does no harm.
        let _ = fs::remove_file(self.path.join("cases").join(format!("{rule}-{kind}.json")));
    }

    /// Writes a stream of the corpus, if it is not there yet.
    pub(super) fn save_stream(&self, stream: &[u8]) {
        let name = file_name(stream);
        let path = self.path.join("corpus").join(&name);
        if path.exists() {
            return;
        }
        let part = self.path.join("corpus").join(format!(".{name}.part"));
        let written = fs::write(&part, stream).and_then(|()| fs::rename(&part, &path));
        if let Err(error) = written {
            let _ = fs::remove_file(&part);
            let corpus = self.path.join("corpus");
            self.lost(&corpus, &format!("a stream cannot be written: {error}"));
        }
    }

    /// Adds a line to the log.
    pub(super) fn log(&self, at: Duration, line: &str) {
        let path = self.path.join("log.txt");
        let written =
            OpenOptions::new().append(true).create(true).open(&path).and_then(|mut log| {
                if log.metadata()?.len() > MAX_LOG_BYTES {
                    return Ok(());
                }
                log.write_all(format!("{:>9.1} s  {line}\n", at.as_secs_f64()).as_bytes())
            });
        if let Err(error) = written {
            self.lost(&path, &format!("cannot be written: {error}"));
        }
    }
}

/// A file's bytes; none where there are more.
fn read_at_most(path: &Path, limit: u64) -> io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(limit + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= limit).then_some(bytes))
}
