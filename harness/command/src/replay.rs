//! `replay`: one case file run again, told in full, and certified to be the smallest.

use crate::Exit;
use crate::arguments::{Format, Replay};
use crate::failure::Failure;
use crate::files::Files;
use crate::interrupt;
use crate::loaded::{Execution, Loaded};
use crate::output;
use crate::registry::Registry;
use trackproof::campaign::{Finding, MakeRigs};
use trackproof::case_file::CaseFile;
use trackproof::examine::Examiner;
use trackproof::minimise::single_reductions;
use trackproof::report::{self, Baseline, RunReport, Shown};
use trackproof::verdict::{Inconclusive, Verdict};

/// Runs the verb.
pub(crate) fn replay(replay: &Replay, registry: &Registry) -> Result<Exit, Failure> {
    if replay.trace && replay.format.is == Format::Json {
        return Err(Failure::usage("--trace makes a table for people; leave out --format json"));
    }
    let loaded = Loaded::open(
        &replay.file,
        &replay.implementation,
        replay.profile.as_deref(),
        &replay.isolation,
        registry,
    )?;
    let runs = loaded.runs()?;
    let steady = runs.iter().all(|run| run.summary.digest == runs[0].summary.digest);
    let finding = loaded.finding(&runs[0]);
    let mut exit = exit_of(&loaded, &runs[0], steady);
    let mut notes = Vec::new();
    if !steady {
        notes.push("the executions differ from each other:".into());
        let told = |(number, run): (usize, &Execution)| {
            format!("  run {}: {}", number + 1, verdict_text(&loaded, run))
        };
        notes.extend(runs.iter().enumerate().map(told));
    }
    notes.extend(note(&loaded, &runs[0], finding.as_ref()));
    let certified = match &finding {
        Some(finding) if replay.certify && steady => {
            Some(certify(replay, &loaded, finding, &mut notes, &mut exit)?)
        }
        _ => None,
    };
    let findings: Vec<_> =
        finding.into_iter().map(|finding| (finding, Some(loaded.path.clone()))).collect();
    let (shown_again, not_again) =
        if steady { (findings.as_slice(), &[][..]) } else { (&[][..], findings.as_slice()) };
    let report = RunReport {
        implementation: &loaded.implementation,
        profile_name: &loaded.profile_name,
        profile: &loaded.case.profile,
        seed: None,
        summary: &runs[0].summary,
        findings: shown_again,
        rules: &[],
        others: &[],
        not_reproducible: not_again,
        set_aside: &[],
        baseline: Baseline::default(),
        verdict: exit.verdict(),
        exit: (exit.code(), exit.meaning()),
        certified,
    };
    match replay.format.is {
        Format::Json => output::print_json(&report::run_json(&report))?,
        Format::Human => output::print(&human(replay, &loaded, &runs[0], &report, &notes))?,
    }
    Ok(exit)
}

fn exit_of(loaded: &Loaded<'_>, run: &Execution, steady: bool) -> Exit {
    if !steady {
        return Exit::NotReproducible;
    }
    match run.examined.verdict {
        Verdict::Conforms if !loaded.could_deviate(run) => Exit::NothingJudged,
        Verdict::Conforms => Exit::Conforms,
        Verdict::Deviates(_) | Verdict::Misreads(_) | Verdict::Stops(_) => Exit::Deviates,
        Verdict::Inconclusive(_) => Exit::Inconclusive,
        Verdict::Skipped(_) | Verdict::Beside => Exit::NothingJudged,
    }
}

fn verdict_text(loaded: &Loaded<'_>, run: &Execution) -> String {
    match &run.examined.verdict {
        Verdict::Conforms if !loaded.could_deviate(run) => {
            "nothing came that could be compared".into()
        }
        Verdict::Conforms => "conforms".into(),
        Verdict::Deviates(deviation) => {
            format!("deviates by {}: {}", deviation.rule.id, deviation.kind)
        }
        Verdict::Misreads(misreading) => {
            format!("deviates by {}: {}", misreading.rule.id, misreading.kind)
        }
        Verdict::Stops(stop) => format!("stops: {}: {stop}", stop.kind()),
        Verdict::Inconclusive(Inconclusive::TooManyStates) => {
            "inconclusive: more states were possible than the model holds".into()
        }
        Verdict::Inconclusive(Inconclusive::Open(what)) => {
            format!("inconclusive: nothing says what comes of {what}")
        }
        Verdict::Skipped(capability) => {
            format!("not run: the implementation has no {capability}, which the case needs")
        }
        Verdict::Beside => "not run: the case asks nothing of the implementation itself".into(),
    }
}

/// How the outcome stands to what the file says.
fn note(loaded: &Loaded<'_>, run: &Execution, finding: Option<&Finding>) -> Option<String> {
    let file = format!("{}: {}", loaded.file.rule, loaded.file.kind);
    match finding {
        Some(finding) if loaded.is_of_file(finding) => None,
        Some(finding) => Some(format!(
            "the file says {file}, but it deviates by {}: {}",
            finding.rule.id, finding.kind
        )),
        None => Some(format!("the file says {file}; {}", verdict_text(loaded, run))),
    }
}

/// Tries every single reduction; a smaller case that deviates alike is written.
fn certify(
    replay: &Replay,
    loaded: &Loaded<'_>,
    finding: &Finding,
    notes: &mut Vec<String>,
    exit: &mut Exit,
) -> Result<bool, Failure> {
    if finding.earlier.is_some() {
        notes.push(
            "not certified: it needs earlier cases, behind which none is made smaller".into(),
        );
        return Ok(false);
    }
    let interrupted = interrupt::flag();
    let mut examiner = Examiner::new(loaded.subject.rig().map_err(Failure::adapter)?);
    let mut tried = 0_u64;
    for candidate in single_reductions(&finding.case) {
        if interrupted.load(std::sync::atomic::Ordering::SeqCst) {
            notes.push(format!("interrupted after {tried} reductions; not certified"));
            *exit = exit.or(interrupt::exit().unwrap_or(Exit::Interrupted));
            return Ok(false);
        }
        tried += 1;
        let examined = examiner.examine(&candidate).map_err(Failure::adapter)?;
        if !finding.same(&examined) {
            continue;
        }
        let smaller = Finding::new(finding.index, candidate, examined);
        let note = format!("a single reduction of {}; {}", loaded.path, loaded.file.note);
        let mut files = Files::new(&replay.out.dir);
        let written = files.save(&CaseFile::of(&smaller, false, note));
        if files.failed() {
            *exit = exit.or(Exit::Usage);
        }
        notes.push(format!(
            "not the smallest: reduction {tried} deviates alike, {}",
            written.unwrap_or_else(|| "see standard error".into())
        ));
        return Ok(false);
    }
    notes.push(format!("certified: none of {tried} single reductions deviates alike"));
    Ok(true)
}

fn human(
    replay: &Replay,
    loaded: &Loaded<'_>,
    run: &Execution,
    report: &RunReport<'_>,
    notes: &[String],
) -> String {
    let style = output::style();
    let mut text = String::new();
    if let Some((finding, _)) = report.findings.first().or(report.not_reproducible.first()) {
        let shown = Shown {
            finding,
            observation: &run.observation,
            capabilities: run.capabilities,
            origin: &loaded.file.note,
            minimised: loaded.file.minimised,
            nearest_passing: None,
            again: &loaded.replay_line(),
        };
        text.push_str(&report::finding(&shown, style));
        text.push('\n');
    }
    let nothing =
        matches!(run.examined.verdict, Verdict::Skipped(_) | Verdict::Beside | Verdict::Stops(_));
    if replay.trace && !nothing {
        text.push_str(&report::trace(&loaded.case, &run.observation, run.capabilities, style));
        text.push('\n');
    }
    for note in notes {
        text.push_str(&format!("{note}\n"));
    }
    let (code, meaning) = report.exit;
    text.push_str(&format!("{} (exit code {code}: {meaning})\n", style.strong(report.verdict)));
    text
}
