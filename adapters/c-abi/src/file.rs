//! A shared library, loaded: finds its entries, and copies a table no further than it reaches.

use crate::error::{MAX_TABLE_BYTES, MIN_TABLE_BYTES};
use crate::raw::{self, Table};
use crate::{LoadError, text};
use std::error::Error;
use std::ffi::c_char;
use std::mem::MaybeUninit;
use std::path::{Path, PathBuf};
use std::ptr;

/// The file behind one or more tables. What they hold stays where it is as long as this does.
pub(crate) struct File {
    path: PathBuf,
    handle: libloading::Library,
}

impl File {
    /// Opens the library at `path`. This runs its code.
    pub(crate) fn load(path: &Path) -> Result<Self, LoadError> {
        let owned = || path.to_path_buf();
        if !path.exists() {
            return Err(LoadError::Missing { path: owned() });
        }
        // Absolute, for the system looks for a bare name in places of its own.
        let absolute = std::path::absolute(path)
            .map_err(|error| LoadError::Open { path: owned(), why: error.to_string() })?;
        // SAFETY: the library's own code runs now; whoever gave the path trusts it.
        let handle = unsafe { load(&absolute) }
            .map_err(|error| LoadError::Open { path: owned(), why: reason(&error) })?;
        Ok(Self { path: owned(), handle })
    }

    /// Where it was opened.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Whether it exports the entry of these tables.
    pub(crate) fn exports<T: Table>(&self) -> bool {
        // SAFETY: the header gives this symbol this type.
        unsafe { self.handle.get::<raw::Entry<T>>(T::ENTRY) }.is_ok()
    }

    /// The table of that kind.
    pub(crate) fn table<T: Table>(&self) -> Result<T, LoadError> {
        // SAFETY: the header gives this symbol this type.
        let entry = unsafe { self.handle.get::<raw::Entry<T>>(T::ENTRY) }.map_err(|error| {
            LoadError::Symbol { path: self.path.clone(), entry: entry::<T>(), why: reason(&error) }
        })?;
        // SAFETY: the header says that it may be called with any number.
        let table = unsafe { entry(u32::from(raw::TP_ABI_MAJOR)) };
        // SAFETY: what the entry returns is null or a table that stays while the library does.
        unsafe { self.read(table) }
    }

    /// The name that a table has.
    ///
    /// # Safety
    /// `name` is that of one of this library's tables.
    pub(crate) unsafe fn name(&self, name: *const c_char) -> Option<String> {
        // SAFETY: the header says that the name is null or text that stays.
        unsafe { text::read(name, text::MAX_NAME_BYTES) }
    }

    /// A function that a table must have.
    pub(crate) fn must<T: Table, F>(
        &self,
        function: Option<F>,
        name: &'static str,
        bytes: u32,
    ) -> Result<F, LoadError> {
        function.ok_or_else(|| LoadError::Absent {
            path: self.path.clone(),
            table: T::NAME,
            function: name,
            bytes,
        })
    }

    /// Copies the table as far as it reaches; what lies beyond is absent.
    ///
    /// # Safety
    /// `table` is null or points to as many bytes as its `struct_size` says, where that is a size.
    unsafe fn read<T: Table>(&self, table: *const T) -> Result<T, LoadError> {
        let owned = || self.path.clone();
        if table.is_null() {
            return Err(LoadError::Refused { path: owned(), entry: entry::<T>() });
        }
        let bytes = table.cast::<u8>();
        // SAFETY: every table has its first four bytes; they need not be aligned.
        let size = unsafe { bytes.cast::<u32>().read_unaligned() };
        if !(MIN_TABLE_BYTES..=MAX_TABLE_BYTES).contains(&size) {
            return Err(LoadError::Size { path: owned(), table: T::NAME, bytes: size });
        }
        // Whole pointers only: a size that ends inside of one does not hold it.
        let reach = size as usize - (size - MIN_TABLE_BYTES) as usize % size_of::<*const ()>();
        let mut copy = MaybeUninit::<T>::zeroed();
        let target = copy.as_mut_ptr().cast::<u8>();
        // SAFETY: that many bytes are in the table, by its own word, and in the copy.
        unsafe { ptr::copy_nonoverlapping(bytes, target, reach.min(size_of::<T>())) };
        // SAFETY: all zeros is a table, and so are any bytes.
        let copy = unsafe { copy.assume_init() };
        if copy.major() != raw::TP_ABI_MAJOR {
            return Err(LoadError::Major { path: owned(), major: copy.major() });
        }
        Ok(copy)
    }
}

/// The entry's name as text.
fn entry<T: Table>() -> &'static str {
    T::ENTRY.to_str().unwrap_or(T::NAME)
}

/// Loads with every symbol bound, so that one that is missing is an error here and no crash later.
///
/// # Safety
/// The library's code runs.
#[cfg(unix)]
unsafe fn load(path: &Path) -> Result<libloading::Library, libloading::Error> {
    use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};
    // SAFETY: as this function's.
    unsafe { Library::open(Some(path), RTLD_NOW | RTLD_LOCAL) }.map(Into::into)
}

/// Loads the library.
///
/// # Safety
/// The library's code runs.
#[cfg(not(unix))]
unsafe fn load(path: &Path) -> Result<libloading::Library, libloading::Error> {
    // SAFETY: as this function's.
    unsafe { libloading::Library::new(path) }
}

/// What the system said, which libloading keeps one level down.
fn reason(error: &libloading::Error) -> String {
    error.source().map_or_else(|| error.to_string(), ToString::to_string)
}
