//! A shared library, opened: finds the table of functions and reads it no further than it reaches.

use crate::error::{MAX_TABLE_BYTES, MIN_TABLE_BYTES};
use crate::text::{self, MAX_ERROR_BYTES, MAX_NAME_BYTES};
use crate::{CSubsystem, LoadError, raw};
use std::error::Error;
use std::ffi::{CString, c_void};
use std::fmt;
use std::mem::MaybeUninit;
use std::path::{Path, PathBuf};
use std::ptr::{self, NonNull};
use std::sync::Arc;
use trackproof_contract::SubsystemRig;

/// A shared library that speaks `trackproof.h`. Clones share it; it is closed with the last of
/// them and of the subsystems made from it.
///
/// ```no_run
/// use std::path::Path;
/// use trackproof_c_abi::Library;
/// let library = Library::open(Path::new("libcontroller.so"))?;
/// let rig = library.rig(None)?;
/// # Ok::<(), trackproof_c_abi::LoadError>(())
/// ```
#[derive(Clone)]
pub struct Library {
    loaded: Arc<Loaded>,
}

struct Loaded {
    path: PathBuf,
    name: Option<String>,
    functions: Functions,
    /// Keeps the functions where they are.
    _handle: libloading::Library,
}

/// The table's functions; the optional ones may be absent.
pub(crate) struct Functions {
    create: raw::Create,
    pub(crate) destroy: raw::Destroy,
    pub(crate) capabilities: raw::Capabilities,
    pub(crate) profile: Option<raw::GetProfile>,
    pub(crate) power_up: raw::PowerUp,
    pub(crate) run: raw::Run,
    pub(crate) drain: raw::Drain,
    last_error: Option<raw::LastError>,
    pub(crate) give: Option<raw::Give>,
    pub(crate) show: Option<raw::Show>,
}

impl Library {
    /// Opens the library at `path` and finds its table of functions. This runs its code.
    ///
    /// # Errors
    /// [`LoadError`] says what is not as `trackproof.h` has it.
    pub fn open(path: &Path) -> Result<Self, LoadError> {
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
        // SAFETY: the header gives this symbol this type.
        let entry = unsafe { handle.get::<raw::Entry>(c"tp_adapter_entry") }
            .map_err(|error| LoadError::Symbol { path: owned(), why: reason(&error) })?;
        // SAFETY: the header says that it may be called with any number.
        let table = unsafe { entry(u32::from(raw::TP_ABI_MAJOR)) };
        // SAFETY: what the entry returns is null or a table that stays while the library does.
        let table = unsafe { read_table(table, path) }?;
        // SAFETY: the header says that the name is null or text that stays.
        let name = unsafe { text::read(table.name, MAX_NAME_BYTES) };
        let functions = Functions::of(&table, path)?;
        Ok(Self { loaded: Arc::new(Loaded { path: owned(), name, functions, _handle: handle }) })
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.loaded.name.clone()
    }

    /// Where it was opened.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.loaded.path
    }

    /// Makes a new implementation; `options` are words of its own.
    ///
    /// # Errors
    /// [`LoadError::Create`] when it cannot be made, in its own words, [`LoadError::Options`] or
    /// [`LoadError::Profile`].
    pub fn create(&self, options: Option<&str>) -> Result<CSubsystem, LoadError> {
        let path = || self.loaded.path.clone();
        let words = options
            .map(CString::new)
            .transpose()
            .map_err(|error| LoadError::Options { path: path(), at: error.nul_position() })?;
        let words = words.as_ref().map_or(ptr::null(), |words| words.as_ptr());
        // SAFETY: the options are null or text that outlives the call.
        let pointer = unsafe { (self.functions().create)(words) };
        let Some(pointer) = NonNull::new(pointer) else {
            // SAFETY: the header lets null ask why create() failed.
            let why = unsafe { self.last_error(ptr::null_mut()) };
            return Err(LoadError::Create { path: path(), options: options.map(Into::into), why });
        };
        // SAFETY: create() just returned it, and nobody else has it.
        unsafe { CSubsystem::adopt(self.clone(), pointer) }
            .map_err(|why| LoadError::Profile { path: path(), why })
    }

    /// Makes a new implementation that runs whole cases.
    ///
    /// # Errors
    /// As [`create`](Self::create).
    pub fn rig(&self, options: Option<&str>) -> Result<SubsystemRig<CSubsystem>, LoadError> {
        self.create(options).map(SubsystemRig::new)
    }

    pub(crate) fn functions(&self) -> &Functions {
        &self.loaded.functions
    }

    /// What the library says about its last failure.
    ///
    /// # Safety
    /// `pointer` is null or an implementation of this library that is not destroyed.
    pub(crate) unsafe fn last_error(&self, pointer: *mut c_void) -> Option<String> {
        let last_error = self.functions().last_error?;
        // SAFETY: the pointer is as asked for; what comes back is null or text.
        unsafe { text::read(last_error(pointer), MAX_ERROR_BYTES) }
    }
}

impl fmt::Debug for Library {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Loaded { path, name, .. } = &*self.loaded;
        f.debug_struct("Library").field("path", path).field("name", name).finish_non_exhaustive()
    }
}

impl Functions {
    fn of(table: &raw::Table, path: &Path) -> Result<Self, LoadError> {
        let absent = |function| LoadError::Absent {
            path: path.to_path_buf(),
            function,
            bytes: table.struct_size,
        };
        Ok(Self {
            create: table.create.ok_or_else(|| absent("create"))?,
            destroy: table.destroy.ok_or_else(|| absent("destroy"))?,
            capabilities: table.capabilities.ok_or_else(|| absent("capabilities"))?,
            profile: table.profile,
            power_up: table.power_up.ok_or_else(|| absent("power_up"))?,
            run: table.run.ok_or_else(|| absent("run"))?,
            drain: table.drain.ok_or_else(|| absent("drain"))?,
            last_error: table.last_error,
            give: table.give,
            show: table.show,
        })
    }
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

/// Copies the table as far as it reaches; what lies beyond is absent.
///
/// # Safety
/// `table` is null or points to as many bytes as its `struct_size` says, where that is a size.
unsafe fn read_table(table: *const raw::Table, path: &Path) -> Result<raw::Table, LoadError> {
    let owned = || path.to_path_buf();
    if table.is_null() {
        return Err(LoadError::Refused { path: owned() });
    }
    let bytes = table.cast::<u8>();
    // SAFETY: every table has its first four bytes; they need not be aligned.
    let size = unsafe { bytes.cast::<u32>().read_unaligned() };
    if !(MIN_TABLE_BYTES..=MAX_TABLE_BYTES).contains(&size) {
        return Err(LoadError::Size { path: owned(), bytes: size });
    }
    // Whole pointers only: a size that ends inside of one does not hold it.
    let reach = size as usize - (size - MIN_TABLE_BYTES) as usize % size_of::<*const ()>();
    let mut copy = MaybeUninit::<raw::Table>::zeroed();
    let target = copy.as_mut_ptr().cast::<u8>();
    // SAFETY: that many bytes are in the table, by its own word, and in the copy.
    unsafe { ptr::copy_nonoverlapping(bytes, target, reach.min(size_of::<raw::Table>())) };
    // SAFETY: all zeros is a table, and any bytes are numbers, a name or nullable functions.
    let copy = unsafe { copy.assume_init() };
    if copy.abi_major != raw::TP_ABI_MAJOR {
        return Err(LoadError::Major { path: owned(), major: copy.abi_major });
    }
    Ok(copy)
}
