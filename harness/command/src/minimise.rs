//! `minimise`: a case file made as small as it gets, whoever made it.

use crate::Exit;
use crate::arguments::{Format, Minimise};
use crate::check::EXECUTIONS;
use crate::failure::Failure;
use crate::files::{Files, replay_line};
use crate::interrupt::{self, Patience};
use crate::loaded::Loaded;
use crate::output;
use crate::registry::Registry;
use trackproof::case_file::CaseFile;
use trackproof::report::{self, Baseline, RunReport, Shown};
use trackproof::settle::settle;
use trackproof::verdict::Verdict;

/// Runs the verb.
pub(crate) fn minimise(minimise: &Minimise, registry: &Registry) -> Result<Exit, Failure> {
    let loaded = Loaded::open(
        &minimise.file,
        &minimise.implementation,
        minimise.profile.as_deref(),
        &minimise.isolation,
        registry,
    )?;
    let runs = loaded.runs()?;
    if runs.iter().any(|run| run.summary.digest != runs[0].summary.digest) {
        return Err(not_reproducible(&loaded));
    }
    let Some(finding) = loaded.finding(&runs[0]) else {
        return Err(nothing_to_minimise(&loaded, &runs[0].examined.verdict));
    };
    interrupt::flag();
    let patience = Patience::new(1);
    let over = || patience.is_over();
    let settlement = settle(vec![finding], &loaded.subject, 1, EXECUTIONS, &over, &|_| {})?;
    let Some(settled) = settlement.settled.into_iter().next() else {
        return Err(not_reproducible(&loaded));
    };
    let run = loaded.run(&settled.finding.case, settled.finding.earlier)?;
    if !settled.finding.same(&run.examined) {
        return Err(not_reproducible(&loaded));
    }
    let finding = settled.finding;
    if !loaded.is_of_file(&finding) {
        eprintln!(
            "trackproof: the file says {}: {}, but the smallest case deviates by {}: {}",
            loaded.file.rule, loaded.file.kind, finding.rule.id, finding.kind
        );
    }
    let mut files = Files::new(&minimise.out.dir);
    let note = loaded.file.note.clone();
    let path = files.save(&CaseFile::of(&finding, settled.minimised, note));
    let mut exit = Exit::Deviates;
    if files.failed() {
        exit = exit.or(Exit::Usage);
    }
    if let Some(interrupted) = interrupt::exit() {
        exit = exit.or(interrupted);
    }
    let findings = [(finding, path)];
    let report = RunReport {
        implementation: &loaded.implementation,
        profile_name: &loaded.profile_name,
        profile: &loaded.case.profile,
        seed: None,
        summary: &run.summary,
        findings: &findings,
        rules: &[],
        others: &[],
        not_reproducible: &[],
        set_aside: &[],
        baseline: Baseline::default(),
        verdict: Exit::Deviates.verdict(),
        exit: (exit.code(), exit.meaning()),
        certified: None,
    };
    match minimise.format.is {
        Format::Json => output::print_json(&report::run_json(&report))?,
        Format::Human => {
            let (finding, path) = &findings[0];
            let file = path.clone().unwrap_or_else(|| loaded.path.clone());
            let shown = Shown {
                finding,
                observation: &run.observation,
                capabilities: run.capabilities,
                origin: &loaded.file.note,
                minimised: settled.minimised,
                nearest_passing: settled.nearest_passing.as_ref(),
                again: &replay_line(&file, &loaded.implementation),
            };
            output::print(&report::finding(&shown, output::style()))?;
        }
    }
    Ok(exit)
}

fn not_reproducible(loaded: &Loaded<'_>) -> Failure {
    Failure {
        exit: Exit::NotReproducible,
        text: format!("{}: executions of the case differ; nothing was written", loaded.path),
    }
}

fn nothing_to_minimise(loaded: &Loaded<'_>, verdict: &Verdict) -> Failure {
    let (exit, why) = match verdict {
        Verdict::Skipped(capability) => {
            (Exit::NothingJudged, format!("the implementation has no {capability}"))
        }
        Verdict::Beside => {
            (Exit::NothingJudged, "the case asks nothing of the implementation itself".into())
        }
        Verdict::Inconclusive(_) => {
            (Exit::Inconclusive, "more states were possible than the model holds".into())
        }
        _ => (Exit::Conforms, format!("{} conforms", loaded.implementation)),
    };
    Failure { exit, text: format!("{}: {why}; there is nothing to minimise", loaded.path) }
}
