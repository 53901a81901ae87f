//! The targets that search an implementation: inputs are choices, choices make a case, the case is
//! run and judged, and what it reached is fed back.

use crate::counters;
use crate::findings::Findings;
use crate::implementation::{Implementation, VARIABLE};
use std::cell::RefCell;
use trackproof::campaign::Finding;
use trackproof::examine::Examiner;
use trackproof::features;
use trackproof::generate::{ByteChoices, Generator};
use trackproof::verdict::Verdict;
use trackproof_contract::{Capabilities, Capability, Case, Operation};

/// Programs that write, on the implementation that `TRACKPROOF_IMPLEMENTATION` names.
///
/// # Panics
/// When there is no such implementation, or it breaks its protocol: then no verdict can be trusted.
pub fn write_path(bytes: &[u8]) -> bool {
    run(Path::Write, bytes)
}

/// Programs that only read.
///
/// # Panics
/// As [`write_path`].
pub fn read_path(bytes: &[u8]) -> bool {
    run(Path::Read, bytes)
}

/// All programs.
///
/// # Panics
/// As [`write_path`].
pub fn whole_subsystem(bytes: &[u8]) -> bool {
    run(Path::Whole, bytes)
}

/// Flux, on a data separator, by default the sample of one.
///
/// # Panics
/// As [`write_path`].
pub fn separator(bytes: &[u8]) -> bool {
    run(Path::Separator, bytes)
}

/// Which cases a target is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Path {
    Write,
    Read,
    Whole,
    Separator,
}

impl Path {
    /// The target's name.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Write => "write_path",
            Self::Read => "read_path",
            Self::Whole => "whole_subsystem",
            Self::Separator => "separator",
        }
    }

    /// What it searches where nothing is named.
    const fn default(self) -> &'static str {
        match self {
            Self::Write | Self::Read | Self::Whole => "sample:sync-dma",
            Self::Separator => "sample:separator",
        }
    }

    /// What the generator may ask of an implementation that can do so much.
    pub(crate) fn scope(self, can: Capabilities) -> Capabilities {
        match self {
            Self::Read => can.minus(Capabilities::of(&[Capability::Write])),
            Self::Write | Self::Whole | Self::Separator => can,
        }
    }

    /// Whether a case belongs to the target.
    fn is_about(self, case: &Case) -> bool {
        let writes = |one: &Operation| matches!(one, Operation::Write { .. });
        match self {
            Self::Write => case.program.iter().any(writes),
            Self::Read | Self::Whole => case.flux.is_none(),
            Self::Separator => case.flux.is_some(),
        }
    }
}

fn run(path: Path, bytes: &[u8]) -> bool {
    thread_local! {
        static SEARCH: RefCell<Option<Search>> = const { RefCell::new(None) };
    }
    SEARCH.with_borrow_mut(|search| {
        let search = search.get_or_insert_with(|| {
            let open = Implementation::from_variable(path.default());
            let search = open.and_then(|open| Search::new(path, open, Findings::from_variables()));
            search.unwrap_or_else(|why| panic!("{why}; set {VARIABLE} to another one"))
        });
        search.run(bytes)
    })
}

/// A target at work on one implementation.
pub(crate) struct Search {
    path: Path,
    implementation: Implementation,
    generator: Generator,
    examiner: Examiner,
    case: Case,
    features: Vec<usize>,
    findings: Findings,
}

impl Search {
    /// Makes the implementation.
    ///
    /// # Errors
    /// Says why it cannot be made.
    pub(crate) fn new(
        path: Path,
        implementation: Implementation,
        findings: Findings,
    ) -> Result<Self, String> {
        let rig = implementation.rig()?;
        let can = rig.capabilities().minus(rig.lent());
        if can.has(Capability::Separator) != (path == Path::Separator) {
            let what =
                if path == Path::Separator { "no data separator" } else { "a data separator" };
            return Err(format!(
                "{} is {what}, so `{}` is not for it",
                implementation.name,
                path.name()
            ));
        }
        let (profile, scope) = (implementation.profile(&*rig), path.scope(rig.capabilities()));
        let mut generator = Generator::limited_to(profile, scope);
        let case = generator.case(0, 0);
        let (examiner, features) = (Examiner::new(rig), Vec::new());
        Ok(Self { path, implementation, generator, examiner, case, features, findings })
    }

    /// Runs one input; whether it is worth keeping.
    pub(crate) fn run(&mut self, bytes: &[u8]) -> bool {
        self.generator.generate(&mut ByteChoices::new(bytes), &mut self.case);
        if !self.path.is_about(&self.case) {
            return false;
        }
        self.findings.keep_case(&self.case);
        let examined = self.examiner.glance(&self.case).unwrap_or_else(|error| {
            panic!("{}: {error}; this says nothing about the controller", self.implementation.name)
        });
        match &examined.verdict {
            // It was not run.
            Verdict::Skipped(_) | Verdict::Beside => return false,
            Verdict::Deviates(_) | Verdict::Misreads(_) | Verdict::Stops(_) => {
                let finding = Finding::new(0, self.case.clone(), examined);
                self.findings.found(finding, self.path, bytes, &self.implementation);
            }
            Verdict::Conforms | Verdict::Inconclusive(_) => {}
        }
        features::of(self.examiner.judge().tally().reach.numbers(), &mut self.features);
        counters::count(&self.features);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::{Path, Search};
    use crate::findings::Findings;
    use crate::implementation::Implementation;
    use crate::seeds::{Bytes, committed};
    use trackproof::case_file::CaseFile;

    /// Runs the seeds of a target, damaged ones and bytes without sense; how many were kept, and
    /// the names of the case files.
    fn smoke(path: Path, name: &str) -> (u32, Vec<String>) {
        let folder = tempfile::tempdir().unwrap();
        let open = Implementation::open(name).unwrap();
        let findings = Findings::settled_here(folder.path().to_owned());
        let mut search = Search::new(path, open, findings).unwrap();
        let mut bytes = Bytes::new(1);
        let mut kept = 0;
        for seed in committed(path.name()).into_values() {
            kept += u32::from(search.run(&seed));
            for _ in 0..5 {
                let mut damaged = seed.clone();
                bytes.damage(&mut damaged);
                kept += u32::from(search.run(&damaged));
            }
        }
        for n in 0..50 {
            kept += u32::from(search.run(&bytes.next(n * 4)));
        }
        let files = std::fs::read_dir(folder.path()).unwrap();
        let files = files
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|end| end == "json"));
        let names = files.map(|path| {
            let file = CaseFile::read(&path).unwrap();
            assert!(file.minimised && file.note.contains(name), "{}", file.note);
            file.file_name()
        });
        (kept, names.collect())
    }

    #[test]
    fn a_correct_implementation_is_searched_and_nothing_found() {
        for path in [Path::Write, Path::Read, Path::Whole] {
            let (kept, files) = smoke(path, "sample:sync-dma");
            assert!(kept > 150, "{}: {kept}", path.name());
            assert!(files.is_empty(), "{}: {files:?}", path.name());
        }
        let (kept, files) = smoke(Path::Separator, "sample:separator");
        assert!(kept == 50 && files.is_empty(), "{kept}: {files:?}");
        assert!(crate::counters::counted() > 1_000, "{}", crate::counters::counted());
    }

    #[test]
    fn a_target_is_for_what_it_searches() {
        let open = |path, name| {
            let open = Implementation::open(name).unwrap();
            Search::new(path, open, Findings::settled_here(std::env::temp_dir())).err()
        };
        let error = open(Path::Separator, "sample:sync-dma").unwrap();
        assert!(error.contains("is no data separator"), "{error}");
        let error = open(Path::Write, "sample:separator").unwrap();
        assert!(error.contains("is a data separator, so `write_path`"), "{error}");
    }

    #[test]
    fn a_deviation_becomes_a_small_case_file_once() {
        let (_, files) = smoke(Path::Write, "sample:sync-dma+protect-ignored");
        assert_eq!(files, ["write.refused-protected-medium-written.json"]);
        // One that shows in several ways is told once, by what explains it.
        let (_, files) = smoke(Path::Read, "sample:sync-dma+late-after-realign");
        assert_eq!(files, ["sync.realign-slips-at-a-match.json"]);
        let (_, files) = smoke(Path::Separator, "sample:separator+locks-to-harmonic");
        assert!(
            !files.is_empty() && files.iter().all(|name| name.starts_with("separator.recover"))
        );
    }
}
