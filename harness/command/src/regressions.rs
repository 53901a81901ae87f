//! Case files that a project keeps: replayed at the begin of each `check`.

use crate::failure::Failure;
use std::path::{Path, PathBuf};
use trackproof::campaign::{CaseTime, RigFactory};
use trackproof::case_file::CaseFile;
use trackproof::examine::{Examined, Examiner};
use trackproof::known_file::Known;
use trackproof::report::{Regression, Regressions};
use trackproof::rules::Rule;
use trackproof::settle::glance;
use trackproof::verdict::Verdict;
use trackproof_contract::Profile;

/// Fresh rigs that must all show a deviation.
const RUNS: usize = 3;

/// Most files of a folder: each takes a worker of its own, or more.
const MOST_FILES: usize = 10_000;

/// What replaying needs to know of its run.
pub(crate) struct Run<'a> {
    pub(crate) factory: &'a RigFactory<'a>,
    pub(crate) profile: &'a Profile,
    /// The known deviations of this profile.
    pub(crate) known: &'a [Known],
    /// Whether findings of a rule were asked for.
    pub(crate) asked_for: &'a dyn Fn(&Rule) -> bool,
    pub(crate) interrupted: &'a dyn Fn() -> bool,
}

/// Replays every case file of a folder, in the order of their names.
pub(crate) fn replay(folder: &Path, run: &Run<'_>) -> Result<Regressions, Failure> {
    let mut all = Regressions { folder: folder.display().to_string(), ..Regressions::default() };
    for path in files(folder)? {
        if (run.interrupted)() {
            break;
        }
        let file = CaseFile::read(&path)?;
        if file.case.profile != *run.profile {
            all.of_other_profiles += 1;
            continue;
        }
        let first = once(&file, run)?;
        let Some((rule, kind)) = deviates(&first) else {
            match first.verdict {
                Verdict::Conforms => all.conform += 1,
                _ => all.open += 1,
            }
            continue;
        };
        if run.known.iter().any(|known| known.rule == rule.id && known.kind == kind) {
            all.known += 1;
            continue;
        }
        if !(run.asked_for)(rule) {
            continue;
        }
        let mut steady = true;
        for _ in 1..RUNS {
            steady &= deviates(&once(&file, run)?).is_some();
        }
        let regression = Regression { file: path.display().to_string(), rule: rule.id, kind };
        if steady { &mut all.deviating } else { &mut all.unsteady }.push(regression);
    }
    Ok(all)
}

fn once(file: &CaseFile, run: &Run<'_>) -> Result<Examined, Failure> {
    let case = &file.case;
    if file.earlier.is_some() {
        let shown = glance(run.factory, case, 0, file.earlier, CaseTime::Usual)?;
        return shown.map(|(_, examined)| examined).ok_or_else(|| Failure {
            exit: crate::Exit::NotReproducible,
            text: format!("{}: the implementation stops in a case before it", file.file_name()),
        });
    }
    let mut examiner = Examiner::new(run.factory.rig().map_err(Failure::adapter)?);
    examiner.examine(case).map_err(Failure::adapter)
}

fn deviates(examined: &Examined) -> Option<(&'static Rule, &'static str)> {
    examined.verdict.name()
}

fn files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let cannot = |error: std::io::Error| {
        Failure::usage(format!("{}: the case files cannot be listed: {error}", folder.display()))
    };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(cannot)? {
        let path = entry.map_err(cannot)?.path();
        if path.extension().is_some_and(|end| end == "json") {
            files.push(path);
        }
        if files.len() > MOST_FILES {
            let folder = folder.display();
            return Err(Failure::usage(format!("{folder}: more than {MOST_FILES} case files")));
        }
    }
    files.sort();
    Ok(files)
}
