//! The implementation that is fuzzed, as the variable names it.

use std::path::Path;
use trackproof::lift;
use trackproof_c_abi::{LoadError, Offer};
use trackproof_contract::{Profile, Rig};
use trackproof_samples::{Form, OpenSample, OpenSeparator};

/// The variable.
pub(crate) const VARIABLE: &str = "TRACKPROOF_IMPLEMENTATION";

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
    Separator(OpenSeparator),
    Library(Offer),
}

impl Implementation {
    /// The one that the variable names, or this where it is not set.
    ///
    /// # Errors
    /// Says what there is instead.
    pub(crate) fn from_variable(default: &str) -> Result<Self, String> {
        match std::env::var(VARIABLE) {
            Ok(name) => Self::open(&name).map_err(|why| format!("{VARIABLE}: {why}")),
            Err(std::env::VarError::NotPresent) => Self::open(default),
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
                let open = match sample.form {
                    Form::Separator(_) => sample.open_separator(&faults).map(Kind::Separator),
                    _ => sample.open(&faults).map(Kind::Sample),
                };
                let open = open.map_err(|error| error.to_string())?;
                (open, Profile::built_in(sample.profile))
            }
            Some(("lib", path)) => {
                let offer =
                    Offer::open(Path::new(path), None).map_err(|error| error.to_string())?;
                (Kind::Library(offer), None)
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
            Kind::Separator(sample) => Ok(lift::data_separator::rig(sample.maker())),
            Kind::Library(offer) => library_rig(offer).map_err(|error| error.to_string()),
        }
    }

    /// The profile to hold it to: the one that it declares, else the one that it was made for.
    pub(crate) fn profile(&self, rig: &dyn Rig) -> Profile {
        let declared = rig.profile().or_else(|| self.made_for.clone());
        declared.unwrap_or_else(Profile::sync_dma)
    }
}

/// Makes what a library offers, and lends it what it is a part of.
fn library_rig(offer: &Offer) -> Result<Box<dyn Rig>, LoadError> {
    Ok(match offer {
        Offer::Controller(library) => Box::new(library.rig(None)?),
        Offer::WordReader(library) => lift::word_reader::rig(library.maker(None)?),
        Offer::TrackWriter(library) => lift::track_writer::rig(library.maker(None)?),
        Offer::TrackEncoder(library) => lift::track_encoder::rig(library.maker(None)?),
        Offer::DataSeparator(library) => lift::data_separator::rig(library.maker(None)?),
    })
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
