//! A case file with the implementation that it is to be run on.

use crate::Exit;
use crate::arguments::Isolation;
use crate::failure::Failure;
use crate::files::replay_line;
use crate::implementation::{Implementation, Subject};
use crate::profile;
use crate::registry::Registry;
use std::path::Path;
use trackproof::campaign::{CaseTime, Earlier, Finding, MakeRigs, Summary, digest};
use trackproof::case_file::{CaseFile, MODEL};
use trackproof::examine::{Examined, Examiner};
use trackproof::profile_file;
use trackproof::settle::glance;
use trackproof::verdict::Verdict;
use trackproof_contract::{Capabilities, Capability, Case, Observation, Operation};

/// Executions that must agree.
const RUNS: usize = 3;

/// The file, read and checked, and the implementation, open.
pub(crate) struct Loaded<'a> {
    pub(crate) file: CaseFile,
    pub(crate) path: String,
    pub(crate) subject: Subject<'a>,
    pub(crate) implementation: String,
    pub(crate) profile_name: String,
    /// The case to run: the file's, under the profile to judge by.
    pub(crate) case: Case,
    /// The cases that it needs before it.
    earlier: Option<Earlier>,
}

/// One execution.
pub(crate) struct Execution {
    pub(crate) examined: Examined,
    pub(crate) observation: Observation,
    pub(crate) capabilities: Capabilities,
    /// What a run of this one case counts.
    pub(crate) summary: Summary,
}

impl<'a> Loaded<'a> {
    pub(crate) fn open(
        path: &Path,
        implementation: &Implementation,
        named_profile: Option<&str>,
        isolation: &Isolation,
        registry: &'a Registry,
    ) -> Result<Self, Failure> {
        let file = CaseFile::read(path)?;
        let subject = Subject::open(implementation, registry, isolation)?;
        let mut case = file.case.clone();
        let profile_name = match named_profile {
            Some(named) => {
                let (name, profile) = profile_file::load(named)?;
                case.profile = profile;
                case.validate().map_err(|error| {
                    Failure::usage(format!(
                        "{}: under profile {name} the case is none: {error}",
                        path.display()
                    ))
                })?;
                name
            }
            None => {
                agree(&subject, &case, path)?;
                profile::name_of(&case.profile)
            }
        };
        let mut loaded = Self {
            earlier: file.earlier,
            file,
            path: path.display().to_string(),
            subject,
            implementation: implementation.to_string(),
            profile_name,
            case,
        };
        if loaded.earlier.is_some() && loaded.shows_alone()? {
            loaded.earlier = None;
        }
        if loaded.earlier.is_some() && loaded.file.model != MODEL {
            eprintln!(
                "trackproof: {}: it needs earlier cases, which version {} made; this is {MODEL} and \
                 may make others",
                loaded.path, loaded.file.model
            );
        }
        Ok(loaded)
    }

    /// Whether the case shows the file's rule without those before it. A file that was written as
    /// a run first saw its case, and was never settled, names them all.
    fn shows_alone(&self) -> Result<bool, Failure> {
        let shown = glance(&self.subject, &self.case, 0, None, CaseTime::Usual)?;
        Ok(shown.is_some_and(|(_, examined)| match &examined.verdict {
            Verdict::Stops(_) => self.file.rule == "stops",
            verdict => verdict
                .name()
                .is_some_and(|(rule, kind)| rule.id == self.file.rule && kind == self.file.kind),
        }))
    }

    /// Runs the case some times, each time on a fresh rig.
    pub(crate) fn runs(&self) -> Result<Vec<Execution>, Failure> {
        (0..RUNS).map(|_| self.run(&self.case, self.earlier)).collect()
    }

    /// Runs a case on a fresh rig, behind the cases that it needs.
    pub(crate) fn run(&self, case: &Case, earlier: Option<Earlier>) -> Result<Execution, Failure> {
        let (examiner, examined) = match earlier {
            Some(_) => {
                glance(&self.subject, case, 0, earlier, CaseTime::Usual)?.ok_or_else(|| {
                    let text =
                        format!("{}: the implementation stops in a case before it", self.path);
                    Failure { exit: Exit::NotReproducible, text }
                })?
            }
            None => {
                let mut examiner = Examiner::new(self.subject.rig().map_err(Failure::adapter)?);
                let examined = examiner.examine(case).map_err(Failure::adapter)?;
                (examiner, examined)
            }
        };
        let observation = examiner.observation().clone();
        let capabilities = examiner.capabilities();
        let mut summary = Summary {
            capabilities,
            lent: examiner.lent(),
            digest: digest::of(0, case, &observation, &examined),
            ..Summary::default()
        };
        summary.count(case, &examiner, &examined);
        Ok(Execution { examined, observation, capabilities, summary })
    }

    /// Whether the execution could have shown a deviation at all: something came that is compared,
    /// or what must not come did not.
    pub(crate) fn could_deviate(&self, execution: &Execution) -> bool {
        let reads = |operation: &Operation| matches!(operation, Operation::Read { .. });
        !execution.summary.compared_nothing()
            || execution.capabilities.has(Capability::MatchSignal)
            || self.case.program.iter().any(reads)
    }

    /// The finding of an execution that deviates.
    pub(crate) fn finding(&self, execution: &Execution) -> Option<Finding> {
        execution.examined.verdict.name().is_some().then(|| {
            let finding = Finding::new(0, self.case.clone(), execution.examined.clone());
            Finding { earlier: self.earlier, ..finding }
        })
    }

    /// Whether a finding has the rule and the kind of the file.
    pub(crate) fn is_of_file(&self, finding: &Finding) -> bool {
        finding.rule.id == self.file.rule && finding.kind == self.file.kind
    }

    /// The command line that replays the file.
    pub(crate) fn replay_line(&self) -> String {
        replay_line(&self.path, &self.implementation)
    }
}

/// Refuses a file whose profile is not the one that the implementation declares.
fn agree(subject: &Subject<'_>, case: &Case, path: &Path) -> Result<(), Failure> {
    match &subject.declared {
        Some(declared) if *declared != case.profile => Err(Failure::usage(format!(
            "{}: the implementation declares other values than the file's profile for {}; say \
             with --profile NAME|FILE which to judge by",
            path.display(),
            profile::differing_keys(declared, &case.profile)
        ))),
        _ => Ok(()),
    }
}
