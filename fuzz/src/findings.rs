//! What a target finds: a case file at once, made small by another process beside the fuzzer, and
//! told once.
//!
//! Files and names are those of a campaign. A list in the same folder holds the names that were
//! told, so that several fuzzers on one folder, and later ones, tell each of them once.

mod told;

use crate::implementation::Implementation;
use crate::path::Path;
use std::collections::{BTreeSet, VecDeque};
use std::ffi::OsString;
use std::fs;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use told::Told;
use trackproof::campaign::Finding;
use trackproof::case_file::CaseFile;
use trackproof::known_file::{self, Known};
use trackproof::settle::settle;
use trackproof_contract::{Case, Profile};

/// Executions that minimising one finding may take, as in a campaign.
const EXECUTIONS: u32 = 20_000;

/// Time that it may take.
const PATIENCE: Duration = Duration::from_secs(300);

/// The folder of the case files, as the command has it.
const OUT: &str = "TRACKPROOF_OUT";
const DEFAULT_OUT: &str = "trackproof-out";

/// A file of deviations that are known, as the command has it.
const KNOWN: &str = "TRACKPROOF_KNOWN";

/// Set for a process that is to make small what its one input shows.
const SETTLES: &str = "TRACKPROOF_FUZZ_SETTLES";

/// A file for the case of each input before it is run, for one that the process does not survive.
const CASE: &str = "TRACKPROOF_FUZZ_CASE";

/// Who makes findings small.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Settles {
    /// A process of this program, which is a fuzz target, for one finding after the other. In this
    /// process the trials would count as coverage of the input under way.
    Beside,
    /// This process: it was started for that, or a test calls it.
    Here,
}

/// What was found so far.
pub(crate) struct Findings {
    folder: PathBuf,
    settles: Settles,
    told: Told,
    known: Vec<Known>,
    /// First names that were met here: quicker than the list.
    met: BTreeSet<(&'static str, &'static str)>,
    case_to: Option<PathBuf>,
    waiting: VecDeque<Waiting>,
    at_work: Option<(Child, Waiting)>,
}

/// A finding that is to be made small.
struct Waiting {
    name: String,
    input: PathBuf,
}

impl Findings {
    /// As the variables say.
    ///
    /// # Panics
    /// When the file of known deviations cannot be read.
    pub(crate) fn from_variables() -> Self {
        let folder = std::env::var_os(OUT).unwrap_or_else(|| OsString::from(DEFAULT_OUT));
        let settles = match std::env::var_os(SETTLES) {
            Some(_) => Settles::Here,
            None => Settles::Beside,
        };
        let mut new = Self::new(folder.into(), settles);
        new.case_to = std::env::var_os(CASE).map(PathBuf::from);
        if let Some(path) = std::env::var_os(KNOWN) {
            let known = known_file::load(path.as_ref());
            new.known = known.unwrap_or_else(|error| panic!("{KNOWN}: {error}"));
        }
        new
    }

    /// Findings that this process makes small at once: slow, and the same each time.
    #[cfg(test)]
    pub(crate) fn settled_here(folder: PathBuf) -> Self {
        Self::new(folder, Settles::Here)
    }

    fn new(folder: PathBuf, settles: Settles) -> Self {
        Self {
            told: Told::of(&folder),
            folder,
            settles,
            known: Vec::new(),
            met: BTreeSet::new(),
            case_to: None,
            waiting: VecDeque::new(),
            at_work: None,
        }
    }

    /// Writes the case of the input that is about to be run, where that was asked for.
    pub(crate) fn keep_case(&mut self, case: &Case) {
        self.look();
        let Some(path) = &self.case_to else { return };
        let (rule, kind) = ("stops".into(), "asked-for".into());
        let file = CaseFile {
            rule,
            kind,
            relation: None,
            model: trackproof::case_file::MODEL.into(),
            note: "the case of an input of a fuzz target".into(),
            minimised: false,
            earlier: None,
            case: case.clone(),
        };
        let text = file.to_text().map_err(|error| error.to_string());
        let written = text.and_then(|text| fs::write(path, text).map_err(|e| e.to_string()));
        if let Err(why) = written {
            eprintln!("{CASE}: {}: {why}", path.display());
        }
    }

    /// Takes note of a finding: a file, a line, and somebody to make it small; nothing of that when
    /// its name is known.
    pub(crate) fn found(
        &mut self,
        finding: Finding,
        path: Path,
        input: &[u8],
        on: &Implementation,
    ) {
        if !self.met.insert(finding.name()) {
            return;
        }
        let note = format!("an input of the fuzz target {} on {}", path.name(), on.name);
        if self.settles == Settles::Here {
            self.settle(finding, &note, on);
            return;
        }
        let name = told::line(finding.name());
        if self.is_known(finding.name(), &finding.case.profile) || self.told.has(&name) {
            return;
        }
        self.told.add(&name);
        let place = match CaseFile::of(&finding, false, note).write(&self.folder) {
            Ok(path) => path.display().to_string(),
            Err(error) => format!("not written: {error}"),
        };
        eprintln!("found {name}, {place}");
        let input_to = self.folder.join("inputs").join(name.replace(": ", "-"));
        let made = fs::create_dir_all(self.folder.join("inputs"));
        match made.and_then(|()| fs::write(&input_to, input)) {
            Ok(()) => self.waiting.push_back(Waiting { name, input: input_to }),
            Err(error) => eprintln!("{}: {error}; it is not made small", input_to.display()),
        }
        self.look();
    }

    /// Looks after the process that makes findings small.
    fn look(&mut self) {
        if let Some((child, _)) = &mut self.at_work {
            if matches!(child.try_wait(), Ok(None)) {
                return;
            }
            if let Some((_, done)) = self.at_work.take() {
                match self.told.settled(&done.name) {
                    Some(name) => eprintln!("{} settled as {name}", done.name),
                    None => eprintln!("{} was not shown again, or not made small", done.name),
                }
            }
        }
        let Some(next) = self.waiting.pop_front() else { return };
        let started = std::env::current_exe().and_then(|program| {
            Command::new(program)
                .arg(&next.input)
                .env(SETTLES, "1")
                .env(OUT, &self.folder)
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
        });
        match started {
            Ok(child) => self.at_work = Some((child, next)),
            Err(error) => eprintln!("{}: not made small: {error}", next.name),
        }
    }

    fn is_known(&self, (rule, kind): (&str, &str), profile: &Profile) -> bool {
        self.known.iter().any(|known| {
            known.rule == rule
                && known.kind == kind
                && Profile::built_in(&known.profile).as_ref() == Some(profile)
        })
    }

    /// Makes a finding small and writes it under the name that it settles under.
    fn settle(&mut self, finding: Finding, note: &str, on: &Implementation) {
        let until = Instant::now() + PATIENCE;
        let first = finding.name();
        let over = || Instant::now() >= until;
        let make = || on.rig();
        let settled = settle(vec![finding], &make, 1, EXECUTIONS, &over, &|_| {});
        let settled = match settled {
            Ok(settlement) => settlement.settled,
            Err(error) => {
                eprintln!("{}: {error}", told::line(first));
                return;
            }
        };
        for one in settled {
            let name = one.finding.name();
            if !self.is_known(name, &one.finding.case.profile) {
                let file = CaseFile::of(&one.finding, one.minimised, note.into());
                if let Err(error) = file.write(&self.folder) {
                    eprintln!("{error}");
                    return;
                }
            }
            self.told.add_settled(&told::line(first), &told::line(name));
            if name != first {
                // It has another name now. That it is gone already does no harm.
                let _ = fs::remove_file(self.folder.join(format!("{}-{}.json", first.0, first.1)));
            }
        }
    }
}
