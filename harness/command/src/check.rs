//! `check`: a campaign, its findings settled, and the report.

use crate::Exit;
use crate::arguments::{Check, Format};
use crate::failure::Failure;
use crate::files::{Files, replay_line};
use crate::interrupt::{self, Patience};
use crate::output;
use crate::progress::Progress;
use crate::registry::Registry;
use crate::regressions;
use crate::search::Searched;
use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;
use trackproof::campaign::{self, CampaignError, Finding, Plan, RigFactory, Summary};
use trackproof::case_file::CaseFile;
use trackproof::known_file::Known;
use trackproof::report::{self, Baseline, Occurred, Regression, Regressions, RunReport, Shown};
use trackproof::rules::{Level, Rule};
use trackproof::settle::{Settled, Settlement, execute, settle};
use trackproof_contract::{Capabilities, Observation};

/// Cases of a run that names neither a number nor a time.
const DEFAULT_CASES: u64 = 20_000;

/// Executions that minimising one finding may take.
pub(crate) const EXECUTIONS: u32 = 20_000;

/// No number of cases: no run comes here.
const NO_END: u64 = u64::MAX / 2;

/// Runs the verb.
pub(crate) fn check(check: &Check, registry: &Registry) -> Result<Exit, Failure> {
    let Searched { subject, profile_name, profile, known } = check.search.open(registry)?;
    let cases = match (check.cases, check.duration) {
        (Some(cases), _) => Some(cases),
        (None, Some(_)) => None,
        (None, None) => Some(DEFAULT_CASES),
    };
    let plan = Plan {
        profile,
        seed: check.search.run.seed,
        cases: cases.unwrap_or(NO_END),
        deadline: check.duration.map(|duration| Instant::now() + duration),
        jobs: check.search.run.jobs(),
    };
    let run = Run {
        check,
        implementation: check.search.implementation.to_string(),
        files: Mutex::new(Files::new(&check.out.dir)),
        progress: Progress::new(cases),
        told: Mutex::default(),
        known,
    };
    let regressions = run.regressions(&subject, &plan)?;
    let summary = run.campaign(&plan, &subject)?;
    let campaign_time = run.progress.elapsed();
    let settlement = run.settle(summary.findings.clone(), &subject, plan.jobs)?;
    let mut shown = run.show(settlement, &summary, &subject)?;
    shown.regressions = regressions;
    run.progress.end(summary.cases, campaign_time);
    run.report(&plan, &profile_name, &summary, &shown)
}

/// A run in progress.
struct Run<'a> {
    check: &'a Check,
    implementation: String,
    files: Mutex<Files>,
    progress: Progress,
    /// Rules and kinds that a line was written of.
    told: Mutex<BTreeSet<(&'static str, &'static str)>>,
    /// The known deviations of the run's profile.
    known: Vec<Known>,
}

/// A settled finding as a fresh rig has just shown it.
struct Fresh {
    settled: Settled,
    observation: Observation,
    capabilities: Capabilities,
}

/// Everything that was found, ready to report.
#[derive(Default)]
struct Found {
    fresh: Vec<Fresh>,
    /// The findings with their files, in the order of `fresh`.
    findings: Vec<(Finding, Option<String>)>,
    /// Findings of rules that were not asked for, with their files.
    others: Vec<(Finding, Option<String>)>,
    not_reproducible: Vec<(Finding, Option<String>)>,
    /// Findings that were not pursued, with their files.
    set_aside: Vec<(Finding, Option<String>)>,
    /// Known deviations, with their files and the cases that they stand for.
    known: Vec<Occurred>,
    /// Known deviations that did not occur.
    gone: Vec<Known>,
    regressions: Option<Regressions>,
}

impl Run<'_> {
    fn campaign(&self, plan: &Plan, factory: &RigFactory<'_>) -> Result<Summary, Failure> {
        campaign::run(plan, factory, interrupt::flag(), &|progress| match progress {
            campaign::Progress::Cases(done) => self.progress.cases(done),
            campaign::Progress::Found(finding) => self.found(finding),
        })
        .map_err(|error| self.failure(error))
    }

    /// Writes a finding at once, so that no end of this process loses it.
    fn found(&self, finding: &Finding) {
        let file = CaseFile::of(finding, false, self.note(finding));
        let mut files = self.files.lock().unwrap_or_else(|poison| poison.into_inner());
        let place = match files.save_for_now(&file) {
            Ok(path) => path.display().to_string(),
            Err(failure) => failure.text,
        };
        drop(files);
        let mut told = self.told.lock().unwrap_or_else(|poison| poison.into_inner());
        if told.insert((finding.rule.id, finding.kind)) {
            let name = format!("{}: {}", finding.rule.id, finding.kind);
            let name = output::error_style().wrong(&name);
            self.progress.line(&format!("found {name}, case {}, {place}", finding.index));
        }
    }

    fn note(&self, finding: &Finding) -> String {
        format!(
            "case {} of seed {} on {}",
            finding.index, self.check.search.run.seed, self.implementation
        )
    }

    /// A run that cannot be trusted gives no verdict; what was found before stays on disk.
    fn failure(&self, error: CampaignError) -> Failure {
        let mut failure = Failure::from(error);
        let told = self.told.lock().unwrap_or_else(|poison| poison.into_inner());
        if !told.is_empty() {
            let files = self.files.lock().unwrap_or_else(|poison| poison.into_inner());
            let dir = files.dir().display();
            failure.text.push_str(&format!("; what was found before is in {dir}"));
        }
        failure
    }

    fn settle(
        &self,
        findings: Vec<Finding>,
        factory: &RigFactory<'_>,
        jobs: usize,
    ) -> Result<Settlement, Failure> {
        let number = findings.len();
        let patience = Patience::new(number.div_ceil(jobs));
        let done = AtomicUsize::new(0);
        self.progress.stage(format!("minimising {number} findings"));
        settle(findings, factory, jobs, EXECUTIONS, &|| patience.is_over(), &|_| {
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            self.progress.stage(format!("minimising {number} findings, {done} done"));
        })
        .map_err(|error| self.failure(error))
    }

    /// Replays the case files that are to be replayed first.
    fn regressions(
        &self,
        factory: &RigFactory<'_>,
        plan: &Plan,
    ) -> Result<Option<Regressions>, Failure> {
        let Some(folder) = &self.check.regressions else { return Ok(None) };
        interrupt::flag();
        self.progress.stage("replaying case files".into());
        let run = regressions::Run {
            factory,
            profile: &plan.profile,
            known: &self.known,
            asked_for: &|rule| self.asked_for(rule),
            interrupted: &interrupt::is_set,
        };
        regressions::replay(folder, &run).map(Some)
    }

    /// The known deviation of a finding's name.
    fn known(&self, (rule, kind): (&str, &str)) -> Option<&Known> {
        self.known.iter().find(|known| known.rule == rule && known.kind == kind)
    }

    /// Runs every smallest case once more on a fresh rig, and writes its file.
    fn show(
        &self,
        settlement: Settlement,
        summary: &Summary,
        factory: &RigFactory<'_>,
    ) -> Result<Found, Failure> {
        let mut found = Found::default();
        let mut files = self.files.lock().unwrap_or_else(|poison| poison.into_inner());
        for settled in settlement.settled {
            let finding = &settled.finding;
            let shown = execute(factory, finding)?;
            let Some((examiner, _)) = shown.filter(|(_, examined)| finding.same(examined)) else {
                let path = files.path_of(finding);
                found.not_reproducible.push((settled.finding, path));
                continue;
            };
            let path = files.save(&CaseFile::of(finding, settled.minimised, self.note(finding)));
            if let Some(known) = self.known(finding.name()) {
                let cases = settled.first_names.iter().filter_map(|of| summary.deviating.get(of));
                let (known, cases) = (known.clone(), cases.sum());
                found.known.push(Occurred { known, finding: settled.finding, file: path, cases });
                continue;
            }
            if !self.asked_for(finding.rule) {
                found.others.push((settled.finding, path));
                continue;
            }
            found.findings.push((finding.clone(), path));
            found.fresh.push(Fresh {
                settled,
                observation: examiner.observation().clone(),
                capabilities: examiner.capabilities(),
            });
        }
        for finding in settlement.not_reproducible {
            let path = files.path_of(&finding);
            found.not_reproducible.push((finding, path));
        }
        for finding in settlement.set_aside {
            let path = files.path_of(&finding);
            found.set_aside.push((finding, path));
        }
        let kept = [&found.findings, &found.others, &found.not_reproducible, &found.set_aside];
        let kept = kept.into_iter().flatten().map(|(finding, _)| finding);
        files.keep_only(kept.chain(found.known.iter().map(|known| &known.finding)));
        // Of a run that was cut short nobody can say what would have come.
        if !interrupt::is_set() && summary.given_up.is_none() {
            let occurred = |known: &&Known| {
                let name = (known.rule.as_str(), known.kind.as_str());
                found.known.iter().any(|one| one.finding.name() == name)
                    || found.not_reproducible.iter().any(|(one, _)| one.name() == name)
                    || found.set_aside.iter().any(|(one, _)| one.name() == name)
            };
            found.gone = self.known.iter().filter(|known| !occurred(known)).cloned().collect();
        }
        Ok(found)
    }

    /// Whether findings of a rule are to be reported. Only settled ones have their rule for sure.
    fn asked_for(&self, rule: &Rule) -> bool {
        let rules = &self.check.rules;
        rules.is_empty() || rules.iter().any(|one| one.id == rule.id)
    }

    fn report(
        &self,
        plan: &Plan,
        profile_name: &str,
        summary: &Summary,
        found: &Found,
    ) -> Result<Exit, Failure> {
        let fails = |finding: &Finding| {
            finding.rule.level == Level::Must || self.check.search.failing.strict
        };
        let (again, unsteady) = found.regressions.as_ref().map_or((false, false), |all| {
            let must = |one: &Regression| {
                Rule::find(one.rule).is_none_or(|rule| rule.level == Level::Must)
                    || self.check.search.failing.strict
            };
            (all.deviating.iter().any(must), !all.unsteady.is_empty())
        });
        let outcome = verdict(
            summary,
            &self.check.rules,
            again || found.findings.iter().any(|(finding, _)| fails(finding)),
            unsteady || !found.not_reproducible.is_empty(),
        );
        let outcome = if found.gone.is_empty() { outcome } else { outcome.or(Exit::KnownGone) };
        let files = self.files.lock().unwrap_or_else(|poison| poison.into_inner());
        let exit = if files.failed() { outcome.or(Exit::Usage) } else { outcome };
        let (verdict, meaning) = match (exit, found.others.is_empty()) {
            (Exit::Conforms, false) => {
                ("other-rules-deviate", "no rule that was asked for is broken")
            }
            _ => (outcome.verdict(), exit.meaning()),
        };
        let report = RunReport {
            implementation: &self.implementation,
            profile_name,
            profile: &plan.profile,
            seed: Some(self.check.search.run.seed),
            summary,
            findings: &found.findings,
            rules: &self.check.rules,
            others: &found.others,
            not_reproducible: &found.not_reproducible,
            set_aside: &found.set_aside,
            baseline: Baseline {
                occurred: &found.known,
                gone: &found.gone,
                regressions: found.regressions.as_ref(),
            },
            verdict,
            exit: (exit.code(), meaning),
            certified: None,
        };
        match self.check.format.is {
            Format::Json => output::print_json(&report::run_json(&report))?,
            Format::Human => {
                let style = output::style();
                let mut text = String::new();
                for (fresh, (finding, path)) in found.fresh.iter().zip(&found.findings) {
                    let name = || format!("{}-{}.json", finding.rule.id, finding.kind);
                    let file = path.clone().unwrap_or_else(name);
                    text.push_str(&report::finding(
                        &Shown {
                            finding,
                            observation: &fresh.observation,
                            capabilities: fresh.capabilities,
                            origin: &format!("case {} of seed {}", finding.index, plan.seed),
                            minimised: fresh.settled.minimised,
                            nearest_passing: fresh.settled.nearest_passing.as_ref(),
                            again: &replay_line(&file, &self.implementation),
                        },
                        style,
                    ));
                    text.push('\n');
                }
                text.push_str(&report::run(&report, style));
                output::print(&text)?;
            }
        }
        Ok(exit)
    }
}

/// What a run's numbers come to.
pub(crate) fn verdict(
    summary: &Summary,
    rules: &[&'static Rule],
    deviates: bool,
    not_reproducible: bool,
) -> Exit {
    let none_held = !rules.is_empty()
        && rules
            .iter()
            .all(|rule| !rule.shows_in_cases() || !summary.own().missing(rule.needs()).is_empty());
    let too_little = summary.too_little().is_some();
    [
        (interrupt::is_set(), interrupt::exit().unwrap_or(Exit::Interrupted)),
        (deviates, Exit::Deviates),
        (not_reproducible, Exit::NotReproducible),
        (too_little, Exit::Inconclusive),
        (summary.judged == 0 || summary.compared_nothing() || none_held, Exit::NothingJudged),
    ]
    .into_iter()
    .filter(|(holds, _)| *holds)
    .fold(Exit::Conforms, |worst, (_, exit)| worst.or(exit))
}

#[cfg(test)]
mod tests {
    use super::verdict;
    use crate::Exit;
    use trackproof::campaign::Summary;
    use trackproof::rules::Rule;

    fn summary(judged: u64, inconclusive: u64, words: u64, unique_words: u64) -> Summary {
        Summary { judged, inconclusive, words, unique_words, ..Summary::default() }
    }

    #[test]
    fn a_run_is_inconclusive_under_90_percent_of_words_or_99_of_cases() {
        assert_eq!(verdict(&summary(99, 1, 100, 90), &[], false, false), Exit::Conforms);
        assert_eq!(verdict(&summary(98, 2, 100, 100), &[], false, false), Exit::Inconclusive);
        assert_eq!(verdict(&summary(100, 0, 100, 89), &[], false, false), Exit::Inconclusive);
    }

    #[test]
    fn a_deviation_wins_over_what_was_not_shown_again_and_over_doubt() {
        let doubtful = summary(1, 9, 10, 1);
        assert_eq!(verdict(&doubtful, &[], true, true), Exit::Deviates);
        assert_eq!(verdict(&doubtful, &[], false, true), Exit::NotReproducible);
        assert_eq!(verdict(&doubtful, &[], false, false), Exit::Inconclusive);
    }

    #[test]
    fn a_run_that_judged_nothing_has_not_passed() {
        assert_eq!(verdict(&summary(0, 0, 0, 0), &[], false, false), Exit::NothingJudged);
        let byte_poll = Rule::find("byte.poll").unwrap();
        assert_eq!(verdict(&summary(9, 0, 9, 9), &[byte_poll], false, false), Exit::NothingJudged);
        assert_eq!(verdict(&summary(0, 5, 0, 0), &[], false, false), Exit::Inconclusive);
        assert_eq!(verdict(&summary(91, 0, 0, 0), &[], false, false), Exit::NothingJudged);
        let mut polled = summary(91, 0, 0, 0);
        polled.compared.status_bits = 1;
        assert_eq!(verdict(&polled, &[], false, false), Exit::Conforms);
    }
}
