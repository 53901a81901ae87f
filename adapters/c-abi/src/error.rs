//! Why a library cannot be used: the one error type of this crate.
//!
//! What goes wrong once an implementation runs is the contract's
//! [`RigError`](trackproof_contract::RigError).

use crate::raw::TP_ABI_MAJOR;
use std::fmt;
use std::path::PathBuf;

/// Smallest table: the part that says how large it is.
pub(crate) const MIN_TABLE_BYTES: u32 = 8;

/// Largest table: hundreds of times what the header has; more is no size but a mistake.
pub(crate) const MAX_TABLE_BYTES: u32 = 65_536;

/// Why a library could not be opened, or no implementation made of it.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum LoadError {
    /// There is no such file.
    Missing {
        /// The library.
        path: PathBuf,
    },
    /// The system cannot open it as a shared library.
    Open {
        /// The library.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// It does not export the entry.
    Symbol {
        /// The library.
        path: PathBuf,
        /// The entry's name in the header.
        entry: &'static str,
        /// What the system said.
        why: String,
    },
    /// The entry returned null.
    Refused {
        /// The library.
        path: PathBuf,
        /// The entry's name in the header.
        entry: &'static str,
    },
    /// The table's size cannot be true.
    Size {
        /// The library.
        path: PathBuf,
        /// The table's name in the header.
        table: &'static str,
        /// What `struct_size` says.
        bytes: u32,
    },
    /// The table is one of another major number.
    Major {
        /// The library.
        path: PathBuf,
        /// What `abi_major` says.
        major: u16,
    },
    /// A function that the table must have is null or beyond the table's end.
    Absent {
        /// The library.
        path: PathBuf,
        /// The table's name in the header.
        table: &'static str,
        /// The function's name in the header.
        function: &'static str,
        /// What `struct_size` says.
        bytes: u32,
    },
    /// The options cannot be handed over as C text.
    Options {
        /// The library.
        path: PathBuf,
        /// Where the zero byte is.
        at: usize,
    },
    /// `create` returned null.
    Create {
        /// The library.
        path: PathBuf,
        /// What it was called with.
        options: Option<String>,
        /// What `last_error` said, if anything.
        why: Option<String>,
    },
    /// The profile that the implementation declares is none.
    Profile {
        /// The library.
        path: PathBuf,
        /// What is wrong with it, and what is allowed.
        why: String,
    },
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { path } => {
                write!(f, "{}: no such file; give the path of a shared library", path.display())
            }
            Self::Open { path, why } => write!(
                f,
                "{}: cannot be opened as a shared library: {why}; build it for this machine, \
                 linked with all that it needs",
                path.display()
            ),
            Self::Symbol { path, entry, why } => write!(
                f,
                "{}: exports no `{entry}`: {why}; define that function, or the entry of what else \
                 it is, as in trackproof.h and leave it visible",
                path.display()
            ),
            Self::Refused { path, entry } => write!(
                f,
                "{}: `{entry}({TP_ABI_MAJOR})` returned null, so it does not serve major \
                 number {TP_ABI_MAJOR}; build it against this trackproof.h",
                path.display()
            ),
            Self::Size { path, table, bytes } => write!(
                f,
                "{}: the table's `struct_size` is {bytes}, the limits are {MIN_TABLE_BYTES} and \
                 {MAX_TABLE_BYTES}; set it to sizeof({table})",
                path.display()
            ),
            Self::Major { path, major } => write!(
                f,
                "{}: the table's `abi_major` is {major}, but {TP_ABI_MAJOR} was asked for; return \
                 null where that is not served, else a table with TP_ABI_MAJOR",
                path.display()
            ),
            Self::Absent { path, table, function, bytes } => write!(
                f,
                "{}: the table of {bytes} bytes has no `{function}`, which every {table} must \
                 have; set it, and `struct_size` to sizeof({table})",
                path.display()
            ),
            Self::Options { path, at } => write!(
                f,
                "{}: the options have a zero byte at {at}, where C text ends; leave it out",
                path.display()
            ),
            Self::Create { path, options, why } => write!(
                f,
                "{}: `create({})` returned null: {}",
                path.display(),
                options.as_ref().map_or("null".into(), |options| format!("{options:?}")),
                why.as_deref().unwrap_or("it gave no reason; have last_error(null) give one")
            ),
            Self::Profile { path, why } => {
                write!(f, "{}: the profile that it declares: {why}", path.display())
            }
        }
    }
}

impl std::error::Error for LoadError {}
