//! The samples: found by name; those in C are unpacked to a private folder and opened as libraries.

use crate::{Fault, SampleError, WordReader, fault};
use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use tempfile::TempDir;
use trackproof_c_abi::{CDataSeparator, CSubsystem, Kind, Library, Make, Offer};
use trackproof_contract::SubsystemRig;

/// One sample.
#[derive(Debug, Clone)]
pub struct Sample {
    /// Its name, in kebab-case.
    pub name: &'static str,
    /// The built-in profile that it is made for.
    pub profile: &'static str,
    /// The faults that it can be made with.
    pub faults: Vec<Fault>,
    /// What it is, and so how to make one.
    pub form: Form,
}

/// What a sample is.
#[derive(Debug, Clone, Copy)]
#[non_exhaustive]
pub enum Form {
    /// A shared library, by its bytes; [`Sample::open`] opens it.
    Library(&'static [u8]),
    /// A shared library of a data separator, by its bytes; [`Sample::open_separator`] opens it.
    Separator(&'static [u8]),
    /// A part of a controller in Rust, by the function that makes one. Whoever knows how to plug in
    /// a [`WordReader`](trackproof_contract::WordReader) plugs it in; this crate does not.
    WordReader(fn() -> WordReader),
}

static SAMPLES: LazyLock<Vec<Sample>> = LazyLock::new(|| {
    let sample = |name, profile, form| Sample { name, profile, faults: fault::of(name), form };
    let library = |name, profile, bytes| sample(name, profile, Form::Library(bytes));
    vec![
        library(
            "sync-dma",
            "sync-dma",
            include_bytes!(concat!(env!("OUT_DIR"), "/sync_dma.library")),
        ),
        library(
            "byte-stream",
            "byte-stream",
            include_bytes!(concat!(env!("OUT_DIR"), "/byte_stream.library")),
        ),
        sample("word-reader", "sync-dma", Form::WordReader(WordReader::default)),
        sample(
            "separator",
            "sync-dma",
            Form::Separator(include_bytes!(concat!(env!("OUT_DIR"), "/separator.library"))),
        ),
        library(
            "hostile",
            "sync-dma",
            include_bytes!(concat!(env!("OUT_DIR"), "/hostile.library")),
        ),
        library("flaky", "sync-dma", include_bytes!(concat!(env!("OUT_DIR"), "/flaky.library"))),
    ]
});

/// Every sample.
#[must_use]
pub fn samples() -> &'static [Sample] {
    &SAMPLES
}

/// The sample of that name.
///
/// # Errors
/// [`SampleError::Sample`] when there is none; it lists those there are.
pub fn find(name: &str) -> Result<&'static Sample, SampleError> {
    samples().iter().find(|sample| sample.name == name).ok_or_else(|| SampleError::Sample {
        name: name.into(),
        known: samples().iter().map(|sample| sample.name.into()).collect(),
    })
}

impl Sample {
    /// Its fault of that name.
    ///
    /// # Errors
    /// [`SampleError::Fault`] when it has none; it lists those there are.
    pub fn fault(&self, name: &str) -> Result<&Fault, SampleError> {
        self.faults.iter().find(|fault| fault.name == name).ok_or_else(|| SampleError::Fault {
            sample: self.name.into(),
            name: name.into(),
            known: self.faults.iter().map(|fault| fault.name.clone()).collect(),
        })
    }

    /// Writes its library to a temporary folder that only this user can look into.
    ///
    /// # Errors
    /// [`SampleError::Unpack`] when that fails, [`SampleError::NoLibrary`] when it is none.
    pub fn unpack(&self) -> Result<Unpacked, SampleError> {
        let (Form::Library(bytes) | Form::Separator(bytes)) = self.form else {
            return Err(SampleError::NoLibrary { sample: self.name.into() });
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix("trackproof-");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
        let folder = builder
            .tempdir()
            .map_err(|error| SampleError::Unpack { path: std::env::temp_dir(), error })?;
        let path = folder.path().join(format!("{DLL_PREFIX}{}{DLL_SUFFIX}", self.name));
        if let Err(error) = fs::write(&path, bytes) {
            return Err(SampleError::Unpack { path, error });
        }
        Ok(Unpacked { path, _folder: folder })
    }

    /// Unpacks and opens a data separator, to be made with these faults; with none of them it is
    /// correct.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn open_separator(&self, faults: &[&str]) -> Result<OpenSeparator, SampleError> {
        for name in faults {
            self.fault(name)?;
        }
        let unpacked = self.unpack()?;
        match Offer::open(unpacked.path(), Some(Kind::DataSeparator))? {
            Offer::DataSeparator(library) => {
                let options = (!faults.is_empty()).then(|| faults.join(","));
                Ok(OpenSeparator { make: library.maker(options.as_deref())?, _unpacked: unpacked })
            }
            _ => Err(SampleError::NoLibrary { sample: self.name.into() }),
        }
    }

    /// Unpacks and opens it, to be made with these faults; with none of them it is correct.
    ///
    /// # Errors
    /// [`SampleError`] when a fault does not exist, when it is no library, or when its library cannot
    /// be unpacked or opened.
    pub fn open(&self, faults: &[&str]) -> Result<OpenSample, SampleError> {
        for name in faults {
            self.fault(name)?;
        }
        let unpacked = self.unpack()?;
        let library = Library::open(unpacked.path())?;
        let options = (!faults.is_empty()).then(|| faults.join(","));
        Ok(OpenSample { library, options, _unpacked: unpacked })
    }
}

/// A sample's library in a temporary folder, which goes with this value.
#[derive(Debug)]
pub struct Unpacked {
    path: PathBuf,
    _folder: TempDir,
}

impl Unpacked {
    /// The library's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// An open data separator with its faults chosen; its folder goes with it.
pub struct OpenSeparator {
    // In this order, as below.
    make: Make<CDataSeparator>,
    _unpacked: Unpacked,
}

impl OpenSeparator {
    /// What makes separators. Whoever knows how to plug in a
    /// [`DataSeparator`](trackproof_contract::DataSeparator) plugs it in; this crate does not.
    #[must_use]
    pub fn maker(&self) -> Make<CDataSeparator> {
        Make::clone(&self.make)
    }
}

impl std::fmt::Debug for OpenSeparator {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OpenSeparator").finish_non_exhaustive()
    }
}

/// An open sample with its faults chosen. Keep it as long as what it makes: its folder goes with
/// it, which some systems refuse while the library is in use.
#[derive(Debug)]
pub struct OpenSample {
    // In this order: the library is closed before its folder goes.
    library: Library,
    options: Option<String>,
    _unpacked: Unpacked,
}

impl OpenSample {
    /// The library, as [`trackproof_c_abi`] opened it.
    #[must_use]
    pub const fn library(&self) -> &Library {
        &self.library
    }

    /// Makes a new implementation with the chosen faults.
    ///
    /// # Errors
    /// [`SampleError::Load`] when the sample refuses.
    pub fn create(&self) -> Result<CSubsystem, SampleError> {
        Ok(self.library.create(self.options.as_deref())?)
    }

    /// Makes a new implementation with the chosen faults that runs whole cases.
    ///
    /// # Errors
    /// [`SampleError::Load`] when the sample refuses.
    pub fn rig(&self) -> Result<SubsystemRig<CSubsystem>, SampleError> {
        Ok(self.library.rig(self.options.as_deref())?)
    }
}
