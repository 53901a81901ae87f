//! The implementation that is fuzzed, as the variable names it.

use std::path::Path;
use trackproof_c_abi::Library;
use trackproof_contract::{Profile, Rig};
use trackproof_samples::OpenSample;

/// The variable.
pub(crate) const VARIABLE: &str = "TRACKPROOF_IMPLEMENTATION";

/// What is fuzzed where the variable is not set.
const DEFAULT: &str = "sample:sync-dma";

/// An open implementation.
pub(crate) struct Implementation {
    /// As it was named.
    pub(crate) name: String,
    kind: Kind,
    /// The profile that it was made for, of a sample.
    made_for: Option<Profile>,
}

enum Kind {
    Sample(OpenSample),
    Library(Library),
}

impl Implementation {
    /// The one that the variable names.
    ///
    /// # Errors
    /// Says what there is instead.
    pub(crate) fn from_variable() -> Result<Self, String> {
        match std::env::var(VARIABLE) {
            Ok(name) => Self::open(&name).map_err(|why| format!("{VARIABLE}: {why}")),
            Err(std::env::VarError::NotPresent) => Self::open(DEFAULT),
            Err(error) => Err(format!("{VARIABLE}: {error}")),
        }
    }

    /// Opens it by its name: `sample:NAME+FAULT…` or `lib:PATH`.
    ///
    /// # Errors
    /// Says what is wrong with the name or the implementation.
    pub(crate) fn open(name: &str) -> Result<Self, String> {
        let (kind, made_for) = match name.split_once(':') {
            Some(("sample", rest)) => {
                let mut words = rest.split('+');
                let sample = words.next().unwrap_or_default();
                let sample = trackproof_samples::find(sample).map_err(|error| error.to_string())?;
                let faults: Vec<&str> = words.collect();
                let open = sample.open(&faults).map_err(|error| error.to_string())?;
                (Kind::Sample(open), Profile::built_in(sample.profile))
            }
            Some(("lib", path)) => {
                let library = Library::open(Path::new(path)).map_err(|error| error.to_string())?;
                (Kind::Library(library), None)
            }
            _ => {
                return Err(format!(
                    "`{}`: an implementation is sample:NAME, sample:NAME+FAULT… or lib:PATH",
                    name.escape_debug()
                ));
            }
        };
        Ok(Self { name: name.into(), kind, made_for })
    }

    /// Makes a new one.
    ///
    /// # Errors
    /// Says why it cannot be made.
    pub(crate) fn rig(&self) -> Result<Box<dyn Rig>, String> {
        match &self.kind {
            Kind::Sample(sample) => match sample.rig() {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
            Kind::Library(library) => match library.rig(None) {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
        }
    }

    /// The profile to hold it to: the one that it declares, else the one that it was made for.
    pub(crate) fn profile(&self, rig: &dyn Rig) -> Profile {
        let declared = rig.profile().or_else(|| self.made_for.clone());
        declared.unwrap_or_else(Profile::sync_dma)
    }
}

#[cfg(test)]
mod tests {
    use super::Implementation;

    #[test]
    fn names_are_opened_and_wrong_ones_told() {
        let open = Implementation::open("sample:sync-dma+done-twice").unwrap();
        assert_eq!(open.profile(&*open.rig().unwrap()), trackproof_contract::Profile::sync_dma());
        for (name, text) in [
            ("sync-dma", "sample:NAME"),
            ("sample:none", "there is"),
            ("sample:sync-dma+none", "late-after-realign"),
            ("lib:./no-such-library.so", "no-such-library"),
            ("sample:word-reader", "word-reader"),
        ] {
            let error = Implementation::open(name).err().unwrap();
            assert!(error.contains(text), "{name}: {error}");
        }
    }
}
