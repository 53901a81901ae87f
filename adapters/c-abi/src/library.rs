//! A shared library that is a controller with its drives, opened.

use crate::file::File;
use crate::maker::{self, Maker};
use crate::{CSubsystem, LoadError, raw};
use std::fmt;
use std::path::Path;
use std::sync::Arc;
use trackproof_contract::SubsystemRig;

/// A shared library that is a whole controller, by `tp_adapter_entry` of `trackproof.h`. Clones
/// share it; it is closed with the last of them and of the subsystems made from it.
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
    name: Option<String>,
    functions: Functions,
    /// Keeps the functions where they are.
    file: File,
}

/// The table's functions; the optional ones may be absent.
pub(crate) struct Functions {
    pub(crate) maker: Maker,
    pub(crate) capabilities: raw::Capabilities,
    pub(crate) profile: Option<raw::GetProfile>,
    pub(crate) power_up: raw::PowerUp,
    pub(crate) run: raw::Run,
    pub(crate) drain: raw::Drain,
    pub(crate) give: Option<raw::Give>,
    pub(crate) show: Option<raw::Show>,
}

impl Library {
    /// Opens the library at `path` and finds its table of functions. This runs its code.
    ///
    /// # Errors
    /// [`LoadError`] says what is not as `trackproof.h` has it.
    pub fn open(path: &Path) -> Result<Self, LoadError> {
        Self::of(File::load(path)?)
    }

    /// The controller that the library is.
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        let table = file.table::<raw::Adapter>()?;
        // SAFETY: the name is the table's.
        let name = unsafe { file.name(table.name) };
        let functions = Functions::of(&table, &file)?;
        Ok(Self { loaded: Arc::new(Loaded { name, functions, file }) })
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.loaded.name.clone()
    }

    /// Where it was opened.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.loaded.file.path()
    }

    /// Makes a new implementation; `options` are words of its own.
    ///
    /// # Errors
    /// [`LoadError::Create`] when it cannot be made, in its own words, [`LoadError::Options`] or
    /// [`LoadError::Profile`].
    pub fn create(&self, options: Option<&str>) -> Result<CSubsystem, LoadError> {
        let path = || self.path().to_path_buf();
        let words = maker::words(self.path(), options)?;
        // SAFETY: the library is loaded.
        let made = unsafe { self.functions().maker.make(words.as_deref()) };
        let pointer = made.map_err(|why| LoadError::Create {
            path: path(),
            options: options.map(Into::into),
            why,
        })?;
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
}

impl fmt::Debug for Library {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (path, name) = (self.path(), self.name());
        f.debug_struct("Library").field("path", &path).field("name", &name).finish_non_exhaustive()
    }
}

impl Functions {
    fn of(table: &raw::Adapter, file: &File) -> Result<Self, LoadError> {
        macro_rules! must {
            ($name:ident) => {
                file.must::<raw::Adapter, _>(table.$name, stringify!($name), table.struct_size)?
            };
        }
        Ok(Self {
            maker: Maker {
                create: must!(create),
                destroy: must!(destroy),
                last_error: table.last_error,
            },
            capabilities: must!(capabilities),
            profile: table.profile,
            power_up: must!(power_up),
            run: must!(run),
            drain: must!(drain),
            give: table.give,
            show: table.show,
        })
    }
}
