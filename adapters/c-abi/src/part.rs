//! What parts of a controller share: how one is made, called and ended, and what its codes mean.

use crate::file::File;
use crate::maker::{self, Maker};
use crate::raw::{self, TP_FAIL, TP_OK, TP_YES, Table};
use crate::{LoadError, code};
use std::ffi::{CString, c_char, c_void};
use std::ptr::NonNull;
use std::sync::Arc;
use trackproof_contract::{KEYS, MAX_EXTRA_ITEMS, Profile, SeamError};

/// A table of a part. All of them begin alike.
pub(crate) trait PartTable: Table {
    /// Its name, create, destroy and last_error.
    fn head(&self) -> Head;

    /// Its function `profile`, where a part has profiles.
    fn profile(&self) -> Option<raw::GetProfile>;
}

/// What all tables of parts begin with.
pub(crate) struct Head {
    struct_size: u32,
    name: *const c_char,
    create: Option<raw::Create>,
    destroy: Option<raw::Destroy>,
    last_error: Option<raw::LastError>,
}

macro_rules! part_tables {
    ($($table:ident: $($profile:ident)?;)+) => {$(
        impl PartTable for raw::$table {
            fn head(&self) -> Head {
                let &Self { struct_size, name, create, destroy, last_error, .. } = self;
                Head { struct_size, name, create, destroy, last_error }
            }

            fn profile(&self) -> Option<raw::GetProfile> {
                None$(.or(self.$profile))?
            }
        }
    )+};
}

part_tables! {
    WordReader: profile;
    TrackWriter: profile;
    TrackEncoder: ;
    DataSeparator: profile;
}

/// A library that has a part of that table.
pub(crate) struct PartLibrary<T> {
    loaded: Arc<Loaded<T>>,
}

struct Loaded<T> {
    table: T,
    name: Option<String>,
    maker: Maker,
    /// Keeps the functions where they are.
    file: File,
}

// SAFETY: a table is functions and a name that stays and that nobody changes; the header says that
// implementations have no global state and may live in any threads.
unsafe impl<T> Send for Loaded<T> {}
// SAFETY: likewise.
unsafe impl<T> Sync for Loaded<T> {}

/// What makes parts, all with the same options: a part for each case.
pub(crate) struct PartMaker<T> {
    loaded: Arc<Loaded<T>>,
    options: Option<CString>,
    profile: Option<Profile>,
}

/// A part, or why `create()` made none; dropping it destroys it.
pub(crate) struct Part<T> {
    loaded: Arc<Loaded<T>>,
    pointer: Result<NonNull<c_void>, String>,
    /// Why its power did not come on. It is not called after that.
    refused: Option<SeamError>,
}

impl<T: PartTable> PartLibrary<T> {
    /// The part that the library has.
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        let table = file.table::<T>()?;
        let Head { struct_size, name, create, destroy, last_error } = table.head();
        let maker = Maker {
            create: file.must::<T, _>(create, "create", struct_size)?,
            destroy: file.must::<T, _>(destroy, "destroy", struct_size)?,
            last_error,
        };
        // SAFETY: the name is the table's.
        let name = unsafe { file.name(name) };
        Ok(Self { loaded: Arc::new(Loaded { table, name, maker, file }) })
    }

    /// The name that the library gives the part, if it has one.
    pub(crate) fn name(&self) -> Option<String> {
        self.loaded.name.clone()
    }

    /// What makes parts with these options. One is made at once, to see whether that works and
    /// which profile it declares.
    pub(crate) fn maker(&self, options: Option<&str>) -> Result<PartMaker<T>, LoadError> {
        let Loaded { file, maker, table, .. } = &*self.loaded;
        let path = || file.path().to_path_buf();
        let words = maker::words(file.path(), options)?;
        // SAFETY: the library is loaded.
        let pointer = unsafe { maker.make(words.as_deref()) }.map_err(|why| LoadError::Create {
            path: path(),
            options: options.map(Into::into),
            why,
        })?;
        let loaded = Arc::clone(&self.loaded);
        let first = Part { loaded, pointer: Ok(pointer), refused: None };
        // SAFETY: it was just made.
        let profile = unsafe { maker::declared_profile(table.profile(), pointer) }
            .map_err(|why| LoadError::Profile { path: path(), why })?;
        drop(first);
        Ok(PartMaker { loaded: Arc::clone(&self.loaded), options: words, profile })
    }
}

impl<T> PartMaker<T> {
    /// A new part.
    pub(crate) fn make(&self) -> Part<T> {
        // SAFETY: the library is loaded.
        let pointer = unsafe { self.loaded.maker.make(self.options.as_deref()) };
        let pointer = pointer.map_err(|why| {
            let why = why.as_deref().unwrap_or("it gave no reason by last_error(null)");
            format!("`create`, which made one before, returned null: {why}")
        });
        Part { loaded: Arc::clone(&self.loaded), pointer, refused: None }
    }

    /// The profile that the parts declare, if they do.
    pub(crate) fn profile(&self) -> Option<&Profile> {
        self.profile.as_ref()
    }
}

impl<T> Part<T> {
    /// The part itself, unless `create()` made none or its power did not come on.
    fn pointer(&self) -> Result<*mut c_void, SeamError> {
        if let Some(refused) = &self.refused {
            return Err(refused.clone());
        }
        self.pointer.as_ref().map(|pointer| pointer.as_ptr()).map_err(SeamError::failed)
    }

    /// A function of the part with the part to call it on. It may be called until this is dropped.
    pub(crate) fn function<F>(
        &self,
        find: impl FnOnce(&T) -> Option<F>,
    ) -> Result<(F, *mut c_void), SeamError> {
        let function = find(&self.loaded.table).ok_or(SeamError::NotSupported)?;
        self.pointer().map(|part| (function, part))
    }

    /// Calls a function that gets and gives nothing but its code.
    pub(crate) fn plain(
        &self,
        call: &str,
        find: impl FnOnce(&T) -> Option<raw::Plain>,
    ) -> Result<(), SeamError> {
        let (function, part) = self.function(find)?;
        // SAFETY: the part is alive.
        self.done(call, unsafe { function(part) })
    }

    /// Power comes on. A part without that function needs no profile.
    pub(crate) fn power_up(
        &mut self,
        function: impl FnOnce(&T) -> Option<raw::PowerUpPart>,
        profile: &Profile,
    ) -> Result<(), SeamError> {
        let part = self.pointer()?;
        let Some(function) = function(&self.loaded.table) else { return Ok(()) };
        let values: Vec<i64> = KEYS.iter().map(|key| key.code(profile)).collect();
        let (count, values) = (values.len() as u32, values.as_slice());
        let profile = raw::Profile { count, reserved: 0, values: values.as_ptr() };
        // SAFETY: the part is alive, and the profile is good until this returns.
        let result = self.done("power_up", unsafe { function(part, &raw const profile) });
        self.refused = result.clone().err();
        result
    }

    /// What the return code of a call means that answers nothing.
    pub(crate) fn done(&self, call: &str, code: i32) -> Result<(), SeamError> {
        self.answer(call, code, None).map(drop)
    }

    /// What the return code of a call means that answers yes or no.
    pub(crate) fn yes(&self, call: &str, code: i32) -> Result<bool, SeamError> {
        self.answer(call, code, Some((TP_YES, "yes")))
    }

    /// Whether the return code is the one that may come beside the usual two; it stands with what it
    /// means.
    pub(crate) fn answer(
        &self,
        call: &str,
        code: i32,
        other: Option<(i32, &str)>,
    ) -> Result<bool, SeamError> {
        match code {
            TP_OK => Ok(false),
            TP_FAIL => {
                // SAFETY: the library is loaded, and the part is alive.
                let why = unsafe { self.loaded.maker.last_error(self.pointer()?) };
                Err(SeamError::failed(why.unwrap_or_else(|| code::NO_REASON.into())))
            }
            code if other.is_some_and(|other| other.0 == code) => Ok(true),
            code => {
                let more =
                    other.map_or(String::new(), |(code, means)| format!(", {code} ({means})"));
                Err(protocol(code::unknown(call, code, &more)))
            }
        }
    }
}

impl<T> Drop for Part<T> {
    fn drop(&mut self) {
        if let Ok(pointer) = self.pointer {
            // SAFETY: the part is alive, and nobody uses it after this.
            unsafe { (self.loaded.maker.destroy)(pointer.as_ptr()) };
        }
    }
}

pub(crate) fn protocol(why: String) -> SeamError {
    SeamError::Protocol { why }
}

/// A value that must be 0 or 1.
pub(crate) fn flag(call: &str, name: &str, value: u32) -> Result<bool, SeamError> {
    match value {
        0 => Ok(false),
        1 => Ok(true),
        other => Err(protocol(format!("`{call}` set *{name} to {other}, it must be 0 or 1"))),
    }
}

/// Counts the signals of a case, each of which is an item of what the host saw.
#[derive(Default)]
pub(crate) struct Signals(usize);

impl Signals {
    /// Asks `part` for a signal.
    pub(crate) fn ask<T>(
        &mut self,
        part: &Part<T>,
        call: &str,
        find: impl FnOnce(&T) -> Option<raw::Plain>,
    ) -> Result<bool, SeamError> {
        let (function, pointer) = part.function(find)?;
        // SAFETY: the part is alive.
        let came = part.yes(call, unsafe { function(pointer) })?;
        self.0 += usize::from(came);
        if self.0 > MAX_EXTRA_ITEMS {
            return Err(protocol(format!(
                "`{call}` answered yes, which makes {} signals in a case, the limit is \
                 {MAX_EXTRA_ITEMS}; it must answer yes once for each",
                self.0
            )));
        }
        Ok(came)
    }
}
