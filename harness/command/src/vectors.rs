//! `vectors export`: cases with every observation that is allowed, to be used without trackproof.

use crate::Exit;
use crate::arguments::{Vectors, VectorsExport, VectorsVerb};
use crate::failure::Failure;
use crate::output;
use crate::progress::Progress;
use std::fs;
use std::path::Path;
use trackproof::profile_file;
use trackproof::vectors::{Corpus, Plan, cases_for};

/// The interface that `vectors.c` includes.
const HEADER: &str = trackproof_c_abi::HEADER;

/// Runs the verb.
pub(crate) fn vectors(given: &Vectors) -> Result<Exit, Failure> {
    let VectorsVerb::Export(export) = &given.verb;
    // Before the work: a folder that cannot be made is told at once.
    let failed = |path: &Path, error: &std::io::Error| {
        Failure::usage(format!(
            "{}: cannot be written: {error}; name another folder",
            path.display()
        ))
    };
    let dir = &export.dir;
    let (profile_name, profile) = profile_file::load(&export.profile)?;
    fs::create_dir_all(dir).map_err(|error| failed(dir, &error))?;
    let progress = Progress::new(None);
    progress.stage("vectors".to_owned());
    let corpus = Corpus::make(Plan {
        profile,
        profile_name,
        seed: export.seed,
        cases: cases_for(export.count),
        count: export.count as usize,
    });
    progress.clear();
    if corpus.vectors.is_empty() {
        return Err(Failure::usage(
            "no case of this profile has a short list of what is allowed; try another --seed",
        ));
    }
    let mut written = Vec::new();
    let files = corpus.files();
    let texts = files.iter().map(|file| (file.name, file.text.as_str()));
    for (name, text) in texts.chain([("trackproof.h", HEADER)]) {
        let path = dir.join(name);
        replace(&path, text).map_err(|error| failed(&path, &error))?;
        written.push(name);
    }
    output::print(&told(export, &corpus, &written))?;
    Ok(Exit::Conforms)
}

/// Writes a file whole: a reader sees the old one or the new one.
fn replace(path: &Path, text: &str) -> std::io::Result<()> {
    let part = path.with_extension(format!("{}.part", std::process::id()));
    let written = fs::write(&part, text).and_then(|()| fs::rename(&part, path));
    if written.is_err() {
        // The first error is the one to tell; a part that stays does no harm.
        let _ = fs::remove_file(&part);
    }
    written
}

fn told(export: &VectorsExport, corpus: &Corpus, files: &[&str]) -> String {
    let mut rules: Vec<&str> = corpus.vectors.iter().map(|one| one.rule).collect();
    rules.sort_unstable();
    rules.dedup();
    let dir = export.dir.display();
    format!(
        "{dir}: {}\n{} vectors of {} rules, chosen from {} cases\n\nNext:\n  cc -std=c99 -I{dir} \
         {dir}/vectors.c mycontroller.c -o check && ./check\n",
        files.join(", "),
        corpus.vectors.len(),
        rules.len(),
        cases_for(export.count),
    )
}
