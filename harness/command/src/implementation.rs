//! An implementation as the command line names it: `sample:NAME+FAULT`, `lib:PATH`, `rust:NAME`.

use crate::failure::Failure;
use crate::registry::Registry;
use std::fmt;
use std::path::PathBuf;
use trackproof_c_abi::{Library, LoadError};
use trackproof_contract::{Profile, Rig};

/// How implementations are named, for help and errors.
pub(crate) const FORMS: &str = "sample:NAME, sample:NAME+FAULT+…, lib:PATH or rust:NAME";

/// A name, not yet looked up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Implementation {
    /// A sample with faults.
    Sample { name: String, faults: Vec<String> },
    /// A shared library.
    Library(PathBuf),
    /// One that this program was built with.
    Rust(String),
}

impl std::str::FromStr for Implementation {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (kind, rest) = text.split_once(':').unwrap_or((text, ""));
        match (kind, rest) {
            ("sample" | "lib" | "rust", "") => {
                Err(format!("nothing after `{kind}:`; write {FORMS}"))
            }
            ("sample", rest) => {
                let mut parts = rest.split('+').map(str::to_owned);
                let name = parts.next().unwrap_or_default();
                Ok(Self::Sample { name, faults: parts.collect() })
            }
            ("lib", path) => Ok(Self::Library(path.into())),
            ("rust", name) => Ok(Self::Rust(name.to_owned())),
            _ => Err(format!("an implementation is {FORMS}")),
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
            Self::Library(path) => write!(f, "lib:{}", path.display()),
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
    Library(Library),
    Rust(&'a Registry, String),
}

impl<'a> Subject<'a> {
    /// Opens it and makes one, to see whether it starts and what it declares.
    pub(crate) fn open(
        implementation: &Implementation,
        registry: &'a Registry,
    ) -> Result<Self, Failure> {
        let (kind, made_for) = match implementation {
            Implementation::Sample { name, faults } => sample(name, faults)?,
            Implementation::Library(path) => {
                let library = Library::open(path).map_err(|error| match error {
                    LoadError::Missing { .. } => Failure::usage(error),
                    _ => Failure::adapter(error),
                })?;
                (Kind::Library(library), None)
            }
            Implementation::Rust(name) => {
                if !registry.names().contains(&name.as_str()) {
                    return Err(unknown_rust(name, registry));
                }
                (Kind::Rust(registry, name.clone()), None)
            }
        };
        let mut subject = Self { kind, declared: None, made_for };
        let rig = subject.rig().map_err(Failure::adapter)?;
        subject.declared = rig.profile();
        Ok(subject)
    }

    /// A new one that runs whole cases.
    pub(crate) fn rig(&self) -> Result<Box<dyn Rig>, String> {
        match &self.kind {
            #[cfg(feature = "samples")]
            Kind::Sample(sample) => match sample.rig() {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
            Kind::Library(library) => match library.rig(None) {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
            Kind::Rust(registry, name) => {
                registry.make(name).unwrap_or_else(|| Err(format!("no rust:{name}")))
            }
        }
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
fn sample<'a>(name: &str, faults: &[String]) -> Result<(Kind<'a>, Option<Profile>), Failure> {
    use trackproof_samples::SampleError;
    let failure = |error: SampleError| match error {
        SampleError::Load(_) => Failure::adapter(error),
        _ => Failure::usage(error),
    };
    let sample = trackproof_samples::find(name).map_err(failure)?;
    let faults: Vec<&str> = faults.iter().map(String::as_str).collect();
    let open = sample.open(&faults).map_err(failure)?;
    Ok((Kind::Sample(open), Profile::built_in(sample.profile)))
}

#[cfg(not(feature = "samples"))]
fn sample<'a>(name: &str, _: &[String]) -> Result<(Kind<'a>, Option<Profile>), Failure> {
    Err(Failure::usage(format!(
        "sample:{name}: this program was built without the samples; build it with the feature \
         `samples`"
    )))
}

#[cfg(test)]
mod tests {
    use super::Implementation;

    #[test]
    fn names_are_read_and_written_alike() {
        for text in ["sample:sync-dma", "sample:sync-dma+a+b", "lib:./x:y.so", "rust:mine"] {
            assert_eq!(text.parse::<Implementation>().unwrap().to_string(), text);
        }
        for wrong in ["", "sync-dma", "sample:", "lib:", "rust:", "other:x"] {
            let error = wrong.parse::<Implementation>().unwrap_err();
            assert!(error.contains("sample:NAME"), "{wrong}: {error}");
        }
    }
}
