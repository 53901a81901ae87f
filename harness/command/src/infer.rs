//! `infer`: which profile an implementation has.

use crate::Exit;
use crate::arguments::{Format, Infer};
use crate::failure::Failure;
use crate::files::check_line;
use crate::implementation::Subject;
use crate::interrupt;
use crate::output;
use crate::progress::Progress;
use crate::registry::Registry;
use std::fs;
use std::path::{Path, PathBuf};
use trackproof::infer::{Question, infer as search};
use trackproof::profile_file;
use trackproof::report::{self, InferredReport};
use trackproof_contract::Profile;

/// The file that the profile goes to.
const FILE: &str = "inferred.toml";

/// Runs the verb.
pub(crate) fn infer(given: &Infer, registry: &Registry) -> Result<Exit, Failure> {
    let subject = Subject::open(&given.implementation, registry, &given.isolation)?;
    let bases = match &given.base {
        Some(named) => vec![profile_file::load(named)?],
        None => Profile::BUILT_IN
            .into_iter()
            .filter_map(|name| Some((name.to_owned(), Profile::built_in(name)?)))
            .collect(),
    };
    let question = Question {
        bases,
        declared: subject.declared.clone().or_else(|| subject.made_for.clone()),
        seed: given.run.seed,
        cases: given.cases,
        jobs: given.run.jobs(),
    };
    interrupt::flag();
    let progress = Progress::new(None);
    progress.stage("infer".to_owned());
    let inferred = search(&question, &subject, &interrupt::is_set, &|what| progress.line(what))?;
    progress.clear();

    let implementation = given.implementation.to_string();
    let file = write(&given.out.dir, &report::inferred_toml(&implementation, &inferred));
    let mut exit = if !inferred.contradictions.is_empty() {
        Exit::Deviates
    } else if inferred.cases == 0 {
        Exit::NothingJudged
    } else {
        Exit::Conforms
    };
    if file.is_none() {
        exit = exit.or(Exit::Usage);
    }
    if let Some(interrupted) = interrupt::exit() {
        exit = exit.or(interrupted);
    }
    let file = file.map(|path| path.display().to_string());
    let line = file.as_ref().map(|file| check_line(&implementation, file));
    let told = InferredReport {
        implementation: &implementation,
        inferred: &inferred,
        file: file.as_deref().zip(line.as_deref()),
        verdict: exit.verdict(),
        exit: (exit.code(), exit.meaning()),
    };
    match given.format.is {
        Format::Json => output::print_json(&report::inferred_json(&told))?,
        Format::Human => output::print(&report::inferred(&told, output::style()))?,
    }
    Ok(exit)
}

/// Writes the profile; where that fails it goes to standard error.
fn write(dir: &Path, text: &str) -> Option<PathBuf> {
    let path = dir.join(FILE);
    match fs::create_dir_all(dir).and_then(|()| fs::write(&path, text)) {
        Ok(()) => Some(path),
        Err(error) => {
            eprintln!(
                "trackproof: {}: cannot be written: {error}; name another folder with --out. It \
                 would hold:\n{text}",
                path.display()
            );
            None
        }
    }
}
