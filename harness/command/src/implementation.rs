//! An implementation as the command line names it: `sample:NAME+FAULT`, `lib:PATH`, `lib+PART:PATH`,
//! `cmd:COMMAND`, `rust:NAME`.

use crate::arguments::Isolation;
use crate::failure::Failure;
use crate::registry::Registry;
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fmt;
use std::path::PathBuf;
#[cfg(unix)]
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;
use trackproof::campaign::{CampaignError, CaseTime, Inside, MakeRigs, Runner};
use trackproof::isolate::{Hello, Workers};
use trackproof::lift;
use trackproof_c_abi::{Kind as LibraryKind, LoadError, Offer};
use trackproof_contract::{Profile, Rig, SubsystemRig};
#[cfg(unix)]
use trackproof_process::{Limits, Offer as ChildOffer, Process};
#[cfg(feature = "samples")]
use trackproof_samples::Form;

/// How implementations are named, for help and errors.
pub(crate) const FORMS: &str =
    "sample:NAME, sample:NAME+FAULT+…, lib:PATH, cmd:COMMAND or rust:NAME";

/// A name, not yet looked up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Implementation {
    /// A sample with faults.
    Sample { name: String, faults: Vec<String> },
    /// A shared library, of one that exports several kinds perhaps as one of them.
    Library(PathBuf, Option<LibraryKind>),
    /// A child process, by its command line.
    Command(String),
    /// One that this program was built with.
    Rust(String),
}

impl std::str::FromStr for Implementation {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (kind, rest) = text.split_once(':').unwrap_or((text, ""));
        match (kind, rest) {
            ("sample" | "lib" | "cmd" | "rust", "") => {
                Err(format!("nothing after `{kind}:`; write {FORMS}"))
            }
            ("sample", rest) => {
                let mut parts = rest.split('+').map(str::to_owned);
                let name = parts.next().unwrap_or_default();
                Ok(Self::Sample { name, faults: parts.collect() })
            }
            ("lib", path) => Ok(Self::Library(path.into(), None)),
            ("cmd", line) => Ok(Self::Command(line.to_owned())),
            ("rust", name) => Ok(Self::Rust(name.to_owned())),
            (kind, path) => match kind.strip_prefix("lib+") {
                Some(_) if path.is_empty() => {
                    Err(format!("nothing after `{kind}:`; write {FORMS}"))
                }
                Some(kind) => Ok(Self::Library(path.into(), Some(kind.parse()?))),
                None => Err(format!("an implementation is {FORMS}")),
            },
        }
    }
}

impl fmt::Display for Implementation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sample { name, faults } => {
                write!(f, "sample:{name}")?;
                faults.iter().try_for_each(|fault| write!(f, "+{fault}"))
            }
            Self::Library(path, None) => write!(f, "lib:{}", path.display()),
            Self::Library(path, Some(kind)) => write!(f, "lib+{kind}:{}", path.display()),
            Self::Command(line) => write!(f, "cmd:{line}"),
            Self::Rust(name) => write!(f, "rust:{name}"),
        }
    }
}

/// An implementation that is open: makes rigs, as many as wanted.
pub(crate) struct Subject<'a> {
    kind: Kind<'a>,
    /// The profile that it has and no other.
    pub(crate) declared: Option<Profile>,
    /// The profile to hold it to where nobody names one.
    pub(crate) made_for: Option<Profile>,
}

enum Kind<'a> {
    #[cfg(feature = "samples")]
    Sample(trackproof_samples::OpenSample),
    /// A data separator among the samples.
    #[cfg(feature = "samples")]
    Separator(trackproof_samples::OpenSeparator),
    /// A sample in Rust, the only entry of a registry of its own.
    #[cfg(feature = "samples")]
    RustSample(Registry, &'static str),
    Library(Offer, Option<String>),
    #[cfg(unix)]
    Command(Process),
    Rust(&'a Registry, String),
    Workers {
        workers: Workers,
        /// A sample's library, which all of them open.
        #[cfg(feature = "samples")]
        _unpacked: Option<trackproof_samples::Unpacked>,
    },
}

impl<'a> Subject<'a> {
    /// Opens it and makes one, to see whether it starts and what it declares: in workers, or in this
    /// process if that was asked for.
    pub(crate) fn open(
        implementation: &Implementation,
        registry: &'a Registry,
        isolation: &Isolation,
    ) -> Result<Self, Failure> {
        is_registered(implementation, registry)?;
        if isolation.in_process || !cfg!(unix) {
            return Self::inside(implementation, None, Some(isolation.case_time), registry);
        }
        let case_time = isolation.case_time;
        let (subject, hello) = match implementation {
            Implementation::Sample { name, faults } => isolated_sample(name, faults, case_time)?,
            other => Self::isolated(workers(&[other.to_string()], case_time)?)?,
        };
        Ok(Self { declared: hello.profile, ..subject })
    }

    /// Opens it in this process. A library may be given options; a child process may be held to a
    /// time for each case, where nobody holds this process to one.
    pub(crate) fn inside(
        implementation: &Implementation,
        options: Option<&str>,
        case_time: Option<Duration>,
        registry: &'a Registry,
    ) -> Result<Self, Failure> {
        is_registered(implementation, registry)?;
        let (kind, made_for) = match implementation {
            Implementation::Sample { name, faults } => sample(name, faults)?,
            Implementation::Library(path, kind) => {
                let offer = Offer::open(path, *kind).map_err(|error| match error {
                    LoadError::Missing { .. } => Failure::usage(error),
                    _ => Failure::adapter(error),
                })?;
                (Kind::Library(offer, options.map(str::to_owned)), None)
            }
            Implementation::Command(line) => (command(line, case_time)?, None),
            Implementation::Rust(name) => (Kind::Rust(registry, name.clone()), None),
        };
        let mut subject = Self { kind, declared: None, made_for };
        let rig = subject.first_rig()?;
        subject.declared = rig.profile();
        Ok(subject)
    }

    /// Makes one to see whether it starts. Of a child process only a start tells whether there is
    /// such a program.
    fn first_rig(&self) -> Result<Box<dyn Rig>, Failure> {
        #[cfg(unix)]
        if let Kind::Command(process) = &self.kind {
            return child_rig(process).map_err(child_failure);
        }
        self.rig().map_err(Failure::adapter)
    }

    fn isolated(workers: Workers) -> Result<(Self, Hello), Failure> {
        let hello = workers.hello()?;
        let kind = Kind::Workers {
            workers,
            #[cfg(feature = "samples")]
            _unpacked: None,
        };
        Ok((Self { kind, declared: None, made_for: None }, hello))
    }

    /// Whether its interface hands over events and items in pieces of any size. One that is run in
    /// workers hands over whole cases.
    pub(crate) const fn has_pieces(&self) -> bool {
        match &self.kind {
            // A part is called for each channel bit.
            Kind::Library(offer, _) => matches!(offer, Offer::Controller(_)),
            #[cfg(feature = "samples")]
            Kind::Sample(_) => true,
            #[cfg(feature = "samples")]
            Kind::RustSample(..) | Kind::Separator(_) => false,
            #[cfg(unix)]
            Kind::Command(..) => false,
            Kind::Rust(..) | Kind::Workers { .. } => false,
        }
    }

    /// A new one that runs whole cases, with every piece as small as its interface allows.
    pub(crate) fn rig_in_pieces(&self) -> Result<Box<dyn Rig>, String> {
        let subsystem = match &self.kind {
            #[cfg(feature = "samples")]
            Kind::Sample(sample) => sample.create().map_err(|error| error.to_string())?,
            Kind::Library(Offer::Controller(library), options) => {
                library.create(options.as_deref()).map_err(|error| error.to_string())?
            }
            Kind::Library(..) => return self.rig(),
            #[cfg(feature = "samples")]
            Kind::RustSample(..) | Kind::Separator(_) => return self.rig(),
            #[cfg(unix)]
            Kind::Command(..) => return self.rig(),
            Kind::Rust(..) | Kind::Workers { .. } => return self.rig(),
        };
        Ok(Box::new(SubsystemRig::new(subsystem.in_pieces())))
    }
}

impl MakeRigs for Subject<'_> {
    fn rig(&self) -> Result<Box<dyn Rig>, String> {
        match &self.kind {
            #[cfg(feature = "samples")]
            Kind::Sample(sample) => match sample.rig() {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
            #[cfg(feature = "samples")]
            Kind::RustSample(registry, name) => registered(registry, "sample", name),
            #[cfg(feature = "samples")]
            Kind::Separator(sample) => Ok(lift::data_separator::rig(sample.maker())),
            Kind::Library(offer, options) => {
                library_rig(offer, options.as_deref()).map_err(|error| error.to_string())
            }
            #[cfg(unix)]
            Kind::Command(process) => child_rig(process).map_err(|error| error.to_string()),
            Kind::Rust(registry, name) => registered(registry, "rust", name),
            Kind::Workers { workers, .. } => workers.rig(),
        }
    }

    fn rig_within(&self, time: CaseTime) -> Result<Box<dyn Rig>, String> {
        match &self.kind {
            Kind::Workers { workers, .. } => workers.rig_within(time),
            _ => self.rig(),
        }
    }

    fn runner<'r>(
        &'r self,
        profile: &Profile,
        seed: u64,
        time: CaseTime,
        over: &'r (dyn Fn() -> bool + Sync),
    ) -> Result<Box<dyn Runner + 'r>, CampaignError> {
        match &self.kind {
            Kind::Workers { workers, .. } => workers.runner(profile, seed, time, over),
            _ => {
                let rig = self.rig().map_err(CampaignError::Start)?;
                Ok(Box::new(Inside::new(rig, profile.clone(), seed)))
            }
        }
    }
}

/// Makes the implementation in Rust that goes by this name.
fn registered(registry: &Registry, form: &str, name: &str) -> Result<Box<dyn Rig>, String> {
    match registry.make(name) {
        Some(made) => made.map_err(|why| format!("{form}:{name}: {why}")),
        None => Err(format!("no {form}:{name}")),
    }
}

/// Makes what a library offers, and lends it what it is a part of.
fn library_rig(offer: &Offer, options: Option<&str>) -> Result<Box<dyn Rig>, LoadError> {
    Ok(match offer {
        Offer::Controller(library) => Box::new(library.rig(options)?),
        Offer::WordReader(library) => lift::word_reader::rig(library.maker(options)?),
        Offer::TrackWriter(library) => lift::track_writer::rig(library.maker(options)?),
        Offer::TrackEncoder(library) => lift::track_encoder::rig(library.maker(options)?),
        Offer::DataSeparator(library) => lift::data_separator::rig(library.maker(options)?),
    })
}

#[cfg(unix)]
fn command<'a>(line: &str, case_time: Option<Duration>) -> Result<Kind<'a>, Failure> {
    let limits = Limits { case: case_time, ..Limits::default() };
    Process::new(line, limits).map(Kind::Command).map_err(child_failure)
}

#[cfg(not(unix))]
fn command<'a>(line: &str, _: Option<Duration>) -> Result<Kind<'a>, Failure> {
    Err(Failure::usage(format!("cmd:{line}: child processes need a system of the Unix kind")))
}

#[cfg(unix)]
fn child_failure(error: trackproof_process::StartError) -> Failure {
    match error {
        trackproof_process::StartError::Command { .. } => Failure::usage(format!("cmd: {error}")),
        trackproof_process::StartError::Child { .. } => {
            Failure::adapter(format!("the child did not start: {error}"))
        }
    }
}

/// Starts a child, and lends it what it is a part of.
#[cfg(unix)]
fn child_rig(process: &Process) -> Result<Box<dyn Rig>, trackproof_process::StartError> {
    Ok(match process.start()? {
        ChildOffer::Controller(rig) => rig,
        ChildOffer::WordReader(reader) => {
            let clone = reader.clone();
            Box::new(reader.into_rig(lift::word_reader::rig(Arc::new(move || clone.clone()))))
        }
        ChildOffer::TrackEncoder(encoder) => {
            let clone = encoder.clone();
            Box::new(encoder.into_rig(lift::track_encoder::rig(Arc::new(move || clone.clone()))))
        }
        ChildOffer::DataSeparator(separator) => {
            let clone = separator.clone();
            Box::new(separator.into_rig(lift::data_separator::rig(Arc::new(move || clone.clone()))))
        }
    })
}

/// Tells what a child said on standard error before it stopped, each text once: it stops in the
/// same way many times while its case is made small.
fn hear(text: &str) {
    const MOST: usize = 8;
    static HEARD: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    let mut heard = HEARD.lock().unwrap_or_else(|poison| poison.into_inner());
    if heard.len() < MOST && heard.insert(text.to_owned()) {
        eprintln!("trackproof: before it stopped, {text}");
    }
}

/// Workers of this very program, with these words behind the verb.
fn workers(words: &[String], case_time: Duration) -> Result<Workers, Failure> {
    // The file may be replaced while a long run goes on, by a build say; what runs stays there.
    let program = if cfg!(target_os = "linux") {
        PathBuf::from("/proc/self/exe")
    } else {
        std::env::current_exe().map_err(|error| {
            Failure::usage(format!(
                "this program's own file cannot be found to start workers: {error}; --in-process \
                 does without"
            ))
        })?
    };
    let arguments = std::iter::once(OsString::from("worker"));
    let arguments = arguments.chain(words.iter().map(OsString::from)).collect();
    Ok(Workers { program, arguments, case_time, hear })
}

/// One in Rust has to be among those that this program was built with.
fn is_registered(implementation: &Implementation, registry: &Registry) -> Result<(), Failure> {
    match implementation {
        Implementation::Rust(name) if !registry.names().contains(&name.as_str()) => {
            Err(unknown_rust(name, registry))
        }
        _ => Ok(()),
    }
}

fn unknown_rust(name: &str, registry: &Registry) -> Failure {
    let names = registry.names();
    Failure::usage(if names.is_empty() {
        format!(
            "rust:{name}: this program was built with no implementation of its own; build one that \
             calls trackproof_command::run with a Registry, or give {FORMS}"
        )
    } else {
        format!("rust:{name}: no such implementation; there is {}", names.join(", "))
    })
}

#[cfg(feature = "samples")]
fn sample_failure(error: trackproof_samples::SampleError) -> Failure {
    match error {
        trackproof_samples::SampleError::Load(_) => Failure::adapter(error),
        _ => Failure::usage(error),
    }
}

/// The sample of that name, which has all of these faults.
#[cfg(feature = "samples")]
fn find_sample(
    name: &str,
    faults: &[String],
) -> Result<&'static trackproof_samples::Sample, Failure> {
    let sample = trackproof_samples::find(name).map_err(sample_failure)?;
    for fault in faults {
        sample.fault(fault).map_err(sample_failure)?;
    }
    Ok(sample)
}

#[cfg(feature = "samples")]
fn sample<'a>(name: &str, faults: &[String]) -> Result<(Kind<'a>, Option<Profile>), Failure> {
    let sample = find_sample(name, faults)?;
    let kind = match sample.form {
        Form::WordReader(make) => {
            Kind::RustSample(Registry::new().with(sample.name, make), sample.name)
        }
        form => {
            let faults: Vec<&str> = faults.iter().map(String::as_str).collect();
            match form {
                Form::Separator(_) => {
                    Kind::Separator(sample.open_separator(&faults).map_err(sample_failure)?)
                }
                _ => Kind::Sample(sample.open(&faults).map_err(sample_failure)?),
            }
        }
    };
    Ok((kind, Profile::built_in(sample.profile)))
}

/// A sample in workers. A library is unpacked once, here: a worker that dies would leave its copy
/// behind.
#[cfg(feature = "samples")]
fn isolated_sample<'a>(
    name: &str,
    faults: &[String],
    case_time: Duration,
) -> Result<(Subject<'a>, Hello), Failure> {
    let sample = find_sample(name, faults)?;
    let made_for = Profile::built_in(sample.profile);
    if let Form::WordReader(_) = sample.form {
        let word = Implementation::Sample { name: name.into(), faults: faults.into() }.to_string();
        let (subject, hello) = Subject::isolated(workers(&[word], case_time)?)?;
        return Ok((Subject { made_for, ..subject }, hello));
    }
    let unpacked = sample.unpack().map_err(sample_failure)?;
    let mut words = vec![Implementation::Library(unpacked.path().into(), None).to_string()];
    if !faults.is_empty() {
        words.extend(["--options".into(), faults.join(",")]);
    }
    let (mut subject, hello) = Subject::isolated(workers(&words, case_time)?)?;
    if let Kind::Workers { _unpacked, .. } = &mut subject.kind {
        *_unpacked = Some(unpacked);
    }
    Ok((Subject { made_for, ..subject }, hello))
}

#[cfg(not(feature = "samples"))]
fn sample<'a>(name: &str, _: &[String]) -> Result<(Kind<'a>, Option<Profile>), Failure> {
    Err(Failure::usage(format!(
        "sample:{name}: this program was built without the samples; build it with the feature \
         `samples`"
    )))
}

#[cfg(not(feature = "samples"))]
fn isolated_sample<'a>(
    name: &str,
    faults: &[String],
    _: Duration,
) -> Result<(Subject<'a>, Hello), Failure> {
    match sample(name, faults) {
        Err(failure) => Err(failure),
        Ok(_) => unreachable!("there is none"),
    }
}

#[cfg(test)]
mod tests {
    use super::Implementation;

    #[test]
    fn names_are_read_and_written_alike() {
        for text in [
            "sample:sync-dma",
            "sample:sync-dma+a+b",
            "lib:./x:y.so",
            "lib+word-reader:./x:y.so",
            "lib+controller:x+y.so",
            "cmd:a 'b c' +d",
            "rust:mine",
        ] {
            assert_eq!(text.parse::<Implementation>().unwrap().to_string(), text);
        }
        for wrong in ["", "sync-dma", "sample:", "lib:", "lib+word-reader:", "cmd:", "other:x"] {
            let error = wrong.parse::<Implementation>().unwrap_err();
            assert!(error.contains("sample:NAME"), "{wrong}: {error}");
        }
        let error = "lib+reader:x".parse::<Implementation>().unwrap_err();
        assert!(error.contains("`reader`") && error.contains("word-reader"), "{error}");
    }
}
