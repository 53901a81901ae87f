//! The arguments: every verb with its flags, their variables, limits and defaults.

use crate::Exit;
use crate::duration;
use crate::implementation::Implementation;
use clap::builder::BoolishValueParser;
use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use std::path::PathBuf;
use std::time::Duration;
use trackproof::overnight::Shard;
use trackproof::rules::{RULES, Rule};
use trackproof::vectors::MAX_COUNT;

/// Property-based conformance tests for floppy controllers.
#[derive(Debug, Parser)]
#[command(name = "trackproof", version, after_help = Exit::help())]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// See a fault that nobody sees until a real disk is written
    Demo(Demo),
    /// Run generated cases on an implementation and report what deviates
    Check(Check),
    /// Search for deviations for hours, and leave a short list
    Overnight(Overnight),
    /// Put the folders of a run's shards together
    Merge(Merge),
    /// Run one case file again
    Replay(Replay),
    /// Make a case file as small as it gets
    Minimise(Minimise),
    /// List the rules, explain one, or show how a deviation gets its rule
    Rules(Rules),
    /// List the samples and their faults
    Samples(Samples),
    /// Run an implementation for the program that started this one
    #[command(hide = true)]
    Worker(Worker),
    /// Find out which profile an implementation has
    Infer(Infer),
    /// Measure how far a data separator goes beyond what it is judged by
    Margin(Margin),
    /// Judge a recording of the drive lines (VCD)
    Capture(Capture),
    /// Drill what stands between trackproof and an implementation
    Adapter(Adapter),
    /// Conformance vectors: cases with all that is allowed, to be used without trackproof
    Vectors(Vectors),
    /// Write a folder with an implementation that has nothing yet, ready to be filled
    Init(Init),
    /// Print a shell's completions
    Completions {
        /// The shell
        shell: Shell,
    },
}

const IMPLEMENTATION: &str = "sample:NAME, sample:NAME+FAULT…, lib:PATH, cmd:COMMAND or rust:NAME";

#[derive(Debug, Args)]
pub(crate) struct Demo {
    #[command(flatten)]
    pub(crate) isolation: Isolation,
    #[command(flatten)]
    pub(crate) out: Out,
}

/// What is searched, and what it is held to.
#[derive(Debug, Args)]
pub(crate) struct Search {
    /// The implementation
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// The profile to hold it to: a built-in name or a file [default: the one that it declares,
    /// else sync-dma]
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_PROFILE")]
    pub(crate) profile: Option<String>,
    #[command(flatten)]
    pub(crate) run: Run,
    #[command(flatten)]
    pub(crate) failing: Failing,
    #[command(flatten)]
    pub(crate) isolation: Isolation,
}

/// Which deviations are failures.
#[derive(Debug, Args)]
pub(crate) struct Failing {
    /// Known deviations: a TOML file; what it names is no failure while it occurs. For check it is
    /// one when it does not any more
    #[arg(long, value_name = "FILE", env = "TRACKPROOF_KNOWN")]
    pub(crate) known: Option<PathBuf>,
    /// Also fail on rules of level `should`
    #[arg(long, env = "TRACKPROOF_STRICT", value_parser = BoolishValueParser::new())]
    pub(crate) strict: bool,
}

/// Which cases a run draws, and on how many threads.
#[derive(Debug, Args)]
pub(crate) struct Run {
    /// The run's seed: the same seed gives the same cases everywhere
    #[arg(
        long,
        value_name = "N",
        env = "TRACKPROOF_SEED",
        allow_negative_numbers = true,
        default_value_t = 1
    )]
    pub(crate) seed: u64,
    /// Threads [default: the cores there are]
    #[arg(long, value_name = "N", env = "TRACKPROOF_JOBS", allow_negative_numbers = true, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) jobs: Option<u16>,
}

#[derive(Debug, Args)]
pub(crate) struct Check {
    #[command(flatten)]
    pub(crate) search: Search,
    /// How many cases [default: 20000, or without end where --for says how long]
    #[arg(long, value_name = "N", env = "TRACKPROOF_CASES", allow_negative_numbers = true)]
    pub(crate) cases: Option<u64>,
    /// How long: 60s, 10m, 8h; with --cases, whichever ends first
    #[arg(long = "for", value_name = "DURATION", env = "TRACKPROOF_FOR", value_parser = duration::parse)]
    pub(crate) duration: Option<Duration>,
    /// Report only findings of this rule; may be given again, or several with commas. Those of
    /// other rules are counted
    #[arg(long = "rule", value_name = "ID", env = "TRACKPROOF_RULE", value_delimiter = ',', value_parser = rule)]
    pub(crate) rules: Vec<&'static Rule>,
    /// A folder of case files to replay first
    #[arg(long, value_name = "DIR", env = "TRACKPROOF_REGRESSIONS")]
    pub(crate) regressions: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Overnight {
    #[command(flatten)]
    pub(crate) search: Search,
    /// How long to search: 60s, 10m, 8h; all starts on one folder together
    #[arg(long = "for", value_name = "DURATION", env = "TRACKPROOF_FOR", default_value = "8h", value_parser = duration::parse)]
    pub(crate) duration: Duration,
    /// Run the cases 0 to N-1 alone, the same ones on every machine, and end behind them
    #[arg(long, value_name = "N", env = "TRACKPROOF_CASES", allow_negative_numbers = true)]
    pub(crate) cases: Option<u64>,
    /// Run the k-th of n parts: one a machine, which `merge` puts together
    #[arg(long, value_name = "K/N", env = "TRACKPROOF_SHARD", default_value_t = Shard::WHOLE)]
    pub(crate) shard: Shard,
    /// The folder of the run: a new one, or that of a run which is to go on
    #[arg(
        long = "out",
        value_name = "DIR",
        env = "TRACKPROOF_OUT",
        default_value = "trackproof-overnight"
    )]
    pub(crate) dir: PathBuf,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Merge {
    /// The folders that `overnight --shard` has written, in any order
    #[arg(value_name = "DIR", required = true)]
    pub(crate) parts: Vec<PathBuf>,
    /// The folder to write: a new one
    #[arg(
        long = "out",
        value_name = "DIR",
        env = "TRACKPROOF_OUT",
        default_value = "trackproof-merged"
    )]
    pub(crate) dir: PathBuf,
    #[command(flatten)]
    pub(crate) failing: Failing,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Replay {
    /// The case file
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// Show every operation with its time, its place and both sides
    #[arg(long)]
    pub(crate) trace: bool,
    /// Try every single reduction: is there nothing smaller that deviates alike?
    #[arg(long)]
    pub(crate) certify: bool,
    /// The profile to judge by [default: the file's]
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_PROFILE")]
    pub(crate) profile: Option<String>,
    #[command(flatten)]
    pub(crate) isolation: Isolation,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Minimise {
    /// The case file
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// The profile to judge by [default: the file's]
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_PROFILE")]
    pub(crate) profile: Option<String>,
    #[command(flatten)]
    pub(crate) isolation: Isolation,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Worker {
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// What a library is made with
    #[arg(long)]
    pub(crate) options: Option<String>,
}

#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(crate) struct Rules {
    /// Show the table that gives a deviation its rule
    #[arg(long)]
    pub(crate) attribution: bool,
    #[command(subcommand)]
    pub(crate) verb: Option<RulesVerb>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum RulesVerb {
    /// Tell all about a rule
    Explain {
        /// The rule
        #[arg(value_name = "ID", value_parser = rule)]
        rule: &'static Rule,
    },
}

#[derive(Debug, Args)]
pub(crate) struct Samples {
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Margin {
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// The profile that it is given: a built-in name or a file [default: its own, or sync-dma]
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_PROFILE")]
    pub(crate) profile: Option<String>,
    /// Trials a point
    #[arg(long, value_name = "N", env = "TRACKPROOF_TRIALS", allow_negative_numbers = true, default_value_t = 200, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub(crate) trials: u32,
    #[command(flatten)]
    pub(crate) run: Run,
    #[command(flatten)]
    pub(crate) isolation: Isolation,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Infer {
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// The profile to begin with: a built-in name or a file [default: the built-in one that fits
    /// best]
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_BASE")]
    pub(crate) base: Option<String>,
    /// How many cases at a time
    #[arg(long, value_name = "N", env = "TRACKPROOF_CASES", allow_negative_numbers = true, default_value_t = 500, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub(crate) cases: u64,
    #[command(flatten)]
    pub(crate) run: Run,
    #[command(flatten)]
    pub(crate) isolation: Isolation,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Capture {
    /// The recording: a value change dump (VCD, IEEE 1364)
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Which of its signals is which line: a TOML file
    #[arg(long, value_name = "FILE", env = "TRACKPROOF_MAP")]
    pub(crate) map: PathBuf,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Adapter {
    #[command(subcommand)]
    pub(crate) verb: AdapterVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AdapterVerb {
    /// Run every drill; none asks whether the controller is right
    Check(DrillArgs),
}

#[derive(Debug, Args)]
pub(crate) struct DrillArgs {
    #[arg(value_name = "IMPL", help = IMPLEMENTATION)]
    pub(crate) implementation: Implementation,
    /// How long each drill may take: 60s, 10m
    #[arg(long, value_name = "DURATION", default_value = "60s", value_parser = duration::parse)]
    pub(crate) deadline: Duration,
    /// One drill in this process, for the command itself
    #[arg(long, value_name = "NAME", hide = true)]
    pub(crate) drill: Option<String>,
    #[command(flatten)]
    pub(crate) format: FormatArg,
}

#[derive(Debug, Args)]
pub(crate) struct Vectors {
    #[command(subcommand)]
    pub(crate) verb: VectorsVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum VectorsVerb {
    /// Write vectors into a folder, as JSON and as a C program that checks itself
    Export(VectorsExport),
}

#[derive(Debug, Args)]
pub(crate) struct VectorsExport {
    /// The folder; it is made if it is missing, and files of an earlier export are replaced
    #[arg(value_name = "DIR")]
    pub(crate) dir: PathBuf,
    /// The profile of the controllers that they are for: a built-in name or a file
    #[arg(long, value_name = "NAME|FILE", env = "TRACKPROOF_PROFILE", default_value = "sync-dma")]
    pub(crate) profile: String,
    /// The seed of the cases: the same seed gives the same files everywhere
    #[arg(
        long,
        value_name = "N",
        env = "TRACKPROOF_SEED",
        allow_negative_numbers = true,
        default_value_t = 1
    )]
    pub(crate) seed: u64,
    /// How many vectors at the most
    #[arg(long, value_name = "N", env = "TRACKPROOF_COUNT", allow_negative_numbers = true, default_value_t = 250, value_parser = clap::value_parser!(u32).range(1..=i64::from(MAX_COUNT)))]
    pub(crate) count: u32,
}

#[derive(Debug, Args)]
pub(crate) struct Init {
    /// What it is to be written in
    pub(crate) language: Language,
    /// The folder: a new or an empty one
    #[arg(value_name = "DIR")]
    pub(crate) dir: PathBuf,
    /// Of C: a part of a controller instead of a whole one
    #[arg(long, value_name = "PART")]
    pub(crate) part: Option<Part>,
}

/// A part of a controller that there is a stub of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Part {
    /// Channel bits in, words out
    WordReader,
    /// Words in, channel bits with the gate out
    TrackWriter,
    /// The data of sectors in, the stream of a track out
    TrackEncoder,
    /// Flux in, channel bits out
    DataSeparator,
}

/// A language that there is a stub in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Language {
    /// A word reader, with trackproof as its main
    Rust,
    /// A whole controller as a shared library, or with --part a part of one
    C,
    /// A word reader, as a child process
    Python,
}

#[derive(Debug, Args)]
pub(crate) struct Out {
    /// The folder for what is found; it is made if it is missing
    #[arg(
        long = "out",
        value_name = "DIR",
        env = "TRACKPROOF_OUT",
        default_value = "trackproof-out"
    )]
    pub(crate) dir: PathBuf,
}

/// Where implementations run.
#[derive(Debug, Args)]
pub(crate) struct Isolation {
    /// Run the implementation in trackproof's own process: a little faster, but a crash, an abort or
    /// an endless loop of it ends the run
    #[arg(long, env = "TRACKPROOF_IN_PROCESS", value_parser = BoolishValueParser::new())]
    pub(crate) in_process: bool,
    /// How long the implementation may be at one case before it counts as endless: 10s, 5m; not
    /// with --in-process
    #[arg(long, value_name = "DURATION", env = "TRACKPROOF_CASE_TIME", default_value = "10s", value_parser = duration::parse)]
    pub(crate) case_time: Duration,
}

#[derive(Debug, Args)]
pub(crate) struct FormatArg {
    /// What standard output holds
    #[arg(long = "format", value_name = "FORMAT", value_enum, env = "TRACKPROOF_FORMAT", default_value_t = Format::Human)]
    pub(crate) is: Format,
}

/// What standard output holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Text for people
    Human,
    /// One JSON value for programs
    Json,
}

/// Reads a rule's id.
fn rule(id: &str) -> Result<&'static Rule, String> {
    Rule::find(id).ok_or_else(|| {
        let ids: Vec<&str> = RULES.iter().map(|rule| rule.id).collect();
        format!("no such rule; there is {}", ids.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::{Arguments, Format, RulesVerb, Verb};
    use clap::{CommandFactory, Parser};
    use std::time::Duration;

    fn parsed(line: &str) -> Verb {
        Arguments::try_parse_from(line.split(' ')).expect(line).verb
    }

    fn refused(line: &str) -> String {
        Arguments::try_parse_from(line.split(' ')).expect_err(line).to_string()
    }

    #[test]
    fn the_definition_is_sound() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn check_has_its_defaults() {
        let Verb::Check(check) = parsed("trackproof check sample:sync-dma") else { panic!() };
        assert_eq!(check.search.implementation.to_string(), "sample:sync-dma");
        assert_eq!((check.search.run.seed, check.search.run.jobs), (1, None));
        assert_eq!((check.cases, check.duration), (None, None));
        assert_eq!(check.out.dir.to_str(), Some("trackproof-out"));
        assert_eq!(check.format.is, Format::Human);
        assert!(!check.search.failing.strict && check.search.profile.is_none());
        assert!(check.rules.is_empty());
    }

    #[test]
    fn check_takes_every_flag() {
        let Verb::Check(check) = parsed(
            "trackproof check lib:x.so --profile mine.toml --cases 9 --for 10m --seed 7 --jobs 3 \
             --rule sync.start,sync.phase --rule raw.fresh --format json --out o --strict",
        ) else {
            panic!()
        };
        let ids: Vec<&str> = check.rules.iter().map(|rule| rule.id).collect();
        assert_eq!(ids, ["sync.start", "sync.phase", "raw.fresh"]);
        assert_eq!(check.duration, Some(Duration::from_secs(600)));
        assert_eq!(
            (check.cases, check.search.run.seed, check.search.run.jobs),
            (Some(9), 7, Some(3))
        );
        assert!(check.search.failing.strict);
    }

    #[test]
    fn rules_lists_explains_or_shows_the_table() {
        assert!(matches!(parsed("trackproof rules"), Verb::Rules(rules) if rules.verb.is_none()));
        let Verb::Rules(rules) = parsed("trackproof rules explain sync.wrap") else { panic!() };
        assert!(matches!(rules.verb, Some(RulesVerb::Explain { rule }) if rule.id == "sync.wrap"));
        assert!(
            matches!(parsed("trackproof rules --attribution"), Verb::Rules(r) if r.attribution)
        );
    }

    #[test]
    fn bad_values_are_refused_with_what_there_is() {
        for (line, text) in [
            ("trackproof check sync-dma", "sample:NAME"),
            ("trackproof check sample:x --rule sync.never", "there is sync.start"),
            ("trackproof check sample:x --for 10", "60s, 10m or 8h"),
            ("trackproof check sample:x --jobs 0", "1..=1024"),
            ("trackproof check sample:x --seed -1", "--seed"),
            ("trackproof check sample:x --format xml", "human, json"),
            ("trackproof check", "<IMPL>"),
            ("trackproof completions none", "bash"),
        ] {
            let error = refused(line);
            assert!(error.contains(text), "{line}: {error}");
        }
    }
}
