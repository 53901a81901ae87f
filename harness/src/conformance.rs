//! The rules as a test of one's own: what `check` does, inside `cargo test`.
//!
//! First the case files of `tests/trackproof` are run again, so that what was once mended stays
//! mended; then generated cases. A deviation fails the test with the same text that the command
//! prints: the smallest case, both sides, the rule. A panic of the implementation is a deviation
//! too. One that aborts the process, or never returns, ends or hangs the test: for those there is
//! the command.

use crate::campaign::{self, CampaignError, CaseTime, Finding, Plan, RigFactory, Summary};
use crate::case_file::CaseFile;
use crate::lift::MakePart;
use crate::plug::{self, MakeRig, Plug};
use crate::report::{self, Baseline, RunReport, Shown, Style};
use crate::rules::Level;
use crate::settle::{execute, glance, settle};
use crate::verdict::Verdict;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use trackproof_contract::{Case, Profile};

/// Cases of a test: some seconds in a build without optimisation.
pub const DEFAULT_CASES: u64 = 2_000;

/// The folder of case files that are run first, in the package that is tested.
pub const CASE_FILES: &str = "tests/trackproof";

/// The folder where new ones are written, in the same package.
pub const NEW_CASE_FILES: &str = "trackproof-out";

/// Executions that minimising one finding may take.
const EXECUTIONS: u32 = 20_000;

/// Where a report would say how to run it again.
const AGAIN: &str =
    "copy its file from trackproof-out to tests/trackproof, and run this test again";

/// Fails the test that calls it if what `make` makes deviates from a rule, with
/// [`DEFAULT_CASES`] cases.
///
/// It may be anything that plugs in: a [`Rig`](trackproof_contract::Rig), a
/// [`DiskSubsystem`](trackproof_contract::DiskSubsystem), or a part of a controller.
///
/// ```no_run
/// # use trackproof_contract::{SeamError, WordReader};
/// # struct Mine;
/// # impl WordReader for Mine {
/// #     fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
/// # }
/// #[test]
/// fn mine_keeps_the_rules() {
///     trackproof::conformance::check(|| Mine);
/// }
/// # fn main() {}
/// ```
///
/// # Panics
/// As [`Conformance::check`].
#[track_caller]
pub fn check<I: Plug<M> + 'static, M>(make: impl Fn() -> I + Send + Sync + 'static) {
    Conformance::of(make).check();
}

/// A check with choices.
///
/// ```no_run
/// # use trackproof_contract::{Profile, SeamError, WordReader};
/// # struct Mine;
/// # impl WordReader for Mine {
/// #     fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
/// # }
/// use trackproof::conformance::Conformance;
/// Conformance::of(|| Mine).profile(Profile::byte_stream()).cases(20_000).seed(7).check();
/// ```
pub struct Conformance {
    make: MakeRig,
    profile: Option<Profile>,
    cases: u64,
    seed: u64,
    folder: PathBuf,
}

impl Conformance {
    /// The check of what `make` makes.
    #[must_use]
    pub fn of<I: Plug<M> + 'static, M>(make: impl Fn() -> I + Send + Sync + 'static) -> Self {
        let make: MakePart<I> = Arc::new(make);
        // Cargo sets this for the tests that it runs.
        let folder = std::env::var_os("CARGO_MANIFEST_DIR").map_or_else(|| ".".into(), Into::into);
        Self {
            make: Arc::new(move || I::plug(make.clone())),
            profile: None,
            cases: DEFAULT_CASES,
            seed: 1,
            folder,
        }
    }

    /// Holds it to this profile; by default to the one that it declares, else to `sync-dma`.
    #[must_use]
    pub fn profile(mut self, profile: Profile) -> Self {
        self.profile = Some(profile);
        self
    }

    /// Runs so many generated cases.
    #[must_use]
    pub fn cases(mut self, cases: u64) -> Self {
        self.cases = cases;
        self
    }

    /// Generates them from this seed; the same seed gives the same cases everywhere.
    #[must_use]
    pub fn seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// The folder that [`CASE_FILES`] and [`NEW_CASE_FILES`] are in; by default that of the package.
    #[must_use]
    pub fn folder(mut self, folder: impl Into<PathBuf>) -> Self {
        self.folder = folder.into();
        self
    }

    /// Runs the check.
    ///
    /// # Panics
    /// When a rule of level `must` is broken: the message is the command's report. When a run
    /// cannot be trusted, a case file cannot be read, or too little could be judged: what is not
    /// judged has not passed.
    #[track_caller]
    pub fn check(&self) {
        if let Err(text) = self.run() {
            panic!("{text}");
        }
    }

    /// Runs the check; what [`check`](Self::check) would panic with comes back as text.
    ///
    /// # Errors
    /// As [`check`](Self::check) panics.
    pub fn run(&self) -> Result<(), String> {
        let factory = || plug::guarded(Arc::clone(&self.make));
        let profile = match &self.profile {
            Some(profile) => profile.clone(),
            None => factory()?.profile().unwrap_or_else(Profile::sync_dma),
        };
        profile.validate().map_err(|error| error.to_string())?;
        for path in case_files(&self.folder.join(CASE_FILES))? {
            again(&path, &factory)?;
        }
        let jobs = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        let plan = Plan { profile, seed: self.seed, cases: self.cases, deadline: None, jobs };
        let untrusted =
            |error: CampaignError| format!("{error}; this says nothing about the controller");
        let mut summary =
            campaign::run(&plan, &factory, &AtomicBool::new(false), &|_| {}).map_err(untrusted)?;
        let found = std::mem::take(&mut summary.findings);
        let settled =
            settle(found, &factory, jobs, EXECUTIONS, &|| false, &|_| {}).map_err(untrusted)?;
        let mut text = String::new();
        let mut findings = Vec::new();
        for one in &settled.settled {
            let finding = &one.finding;
            let origin = format!("case {} of seed {}", finding.index, self.seed);
            text.push_str(&told(
                finding,
                &factory,
                &Told { origin: &origin, minimised: one.minimised },
                one.nearest_passing.as_ref(),
            )?);
            text.push('\n');
            findings.push((finding.clone(), Some(self.keep(finding, &origin, one.minimised))));
        }
        let fails = |finding: &Finding| finding.rule.level == Level::Must;
        let broken = findings.iter().any(|(finding, _)| fails(finding));
        let unkept = |all: Vec<Finding>| all.into_iter().map(|one| (one, None)).collect::<Vec<_>>();
        let (once, aside) = (unkept(settled.not_reproducible), unkept(settled.set_aside));
        let (verdict, meaning) = match (broken, once.is_empty(), outcome(&summary)) {
            (true, ..) => ("deviates", "the implementation deviates"),
            (_, false, _) => ("not-reproducible", "a deviation was not shown again"),
            (_, _, Some(why)) => ("inconclusive", why),
            _ => return Ok(()),
        };
        text.push_str(&report::run(
            &RunReport {
                implementation: "this implementation",
                profile_name: "of this test",
                profile: &plan.profile,
                seed: Some(self.seed),
                summary: &summary,
                findings: &findings,
                rules: &[],
                others: &[],
                not_reproducible: &once,
                set_aside: &aside,
                baseline: Baseline::default(),
                verdict,
                exit: (1, meaning),
                certified: None,
            },
            Style::Plain,
        ));
        Err(text)
    }

    /// Writes a finding's file; what came of it.
    fn keep(&self, finding: &Finding, origin: &str, minimised: bool) -> String {
        let file = CaseFile::of(finding, minimised, format!("{origin}, in a test"));
        let dir = self.folder.join(NEW_CASE_FILES);
        let written = std::fs::create_dir_all(&dir)
            .map_err(|error| format!("{}: {error}", dir.display()))
            .and_then(|()| file.write(&dir).map_err(|error| error.to_string()));
        match written {
            Ok(path) => path.display().to_string(),
            Err(why) => format!("not written: {why}"),
        }
    }
}

/// Why a campaign has not passed though nothing deviates.
fn outcome(summary: &Summary) -> Option<&'static str> {
    if summary.judged == 0 || summary.compared_nothing() {
        return Some("nothing was judged");
    }
    summary.too_little().is_some().then_some("too little could be judged")
}

/// The case files of a folder, in the order of their names; none where there is no folder.
fn case_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let told = |error: std::io::Error| format!("{}: {error}", folder.display());
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(told(error)),
    };
    let mut paths = Vec::new();
    for entry in entries {
        let path = entry.map_err(told)?.path();
        if path.extension().is_some_and(|extension| extension == "json") {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// Runs one case file again, under its own profile.
fn again(path: &Path, factory: &RigFactory<'_>) -> Result<(), String> {
    let file = CaseFile::read(path).map_err(|error| error.to_string())?;
    let told_of = |why: String| format!("{}: {why}", path.display());
    let seen = glance(factory, &file.case, 0, file.earlier, CaseTime::Usual)
        .map_err(|error| told_of(error.to_string()))?;
    let Some((_, examined)) = seen else {
        return Err(told_of("a case that it needs before it makes the implementation stop".into()));
    };
    match examined.verdict {
        Verdict::Deviates(_) | Verdict::Misreads(_) | Verdict::Stops(_) => {
            let mut finding = Finding::new(0, file.case.clone(), examined);
            finding.earlier = file.earlier;
            let text = told(
                &finding,
                factory,
                &Told { origin: &path.display().to_string(), minimised: file.minimised },
                None,
            )?;
            Err(format!("{}: it deviates, as it once did or anew\n{text}", path.display()))
        }
        Verdict::Conforms => Ok(()),
        Verdict::Skipped(capability) => Err(format!(
            "{}: it cannot be run again, for the implementation has no {capability}; what is not \
             run has not passed. Take the file away if that is how it is meant",
            path.display()
        )),
        Verdict::Beside => Err(format!(
            "{}: it asks nothing of the implementation itself; take the file away",
            path.display()
        )),
        Verdict::Inconclusive(_) => {
            Err(format!("{}: it cannot be judged; take the file away", path.display()))
        }
    }
}

/// Where a finding comes from.
struct Told<'a> {
    origin: &'a str,
    minimised: bool,
}

/// The report's text of a finding, as a fresh rig shows it.
fn told(
    finding: &Finding,
    factory: &RigFactory<'_>,
    from: &Told<'_>,
    nearest_passing: Option<&Case>,
) -> Result<String, String> {
    let Some((examiner, _)) = execute(factory, finding).map_err(|error| error.to_string())? else {
        return Err("a case that it needs before it makes the implementation stop".into());
    };
    let shown = Shown {
        finding,
        observation: examiner.observation(),
        capabilities: examiner.capabilities(),
        origin: from.origin,
        minimised: from.minimised,
        nearest_passing,
        again: AGAIN,
    };
    Ok(report::finding(&shown, Style::Plain))
}
