//! How an implementation is made of a table: created, asked why something failed and which profile
//! it has, destroyed.

use crate::raw::{self, TP_FAIL, TP_OK};
use crate::text::{self, MAX_ERROR_BYTES};
use crate::{LoadError, code};
use std::ffi::{CStr, CString, c_void};
use std::path::Path;
use std::ptr::{self, NonNull};
use trackproof_contract::{KEYS, Profile};

/// The functions for that. They may be called as long as their library is loaded.
#[derive(Clone, Copy)]
pub(crate) struct Maker {
    pub(crate) create: raw::Create,
    pub(crate) destroy: raw::Destroy,
    pub(crate) last_error: Option<raw::LastError>,
}

impl Maker {
    /// Makes a new one, or says why there is none, if it gives a reason.
    ///
    /// # Safety
    /// The library is loaded.
    pub(crate) unsafe fn make(
        &self,
        options: Option<&CStr>,
    ) -> Result<NonNull<c_void>, Option<String>> {
        let words = options.map_or(ptr::null(), CStr::as_ptr);
        // SAFETY: the options are null or text that outlives the call.
        let pointer = unsafe { (self.create)(words) };
        // SAFETY: the header lets null ask why create() failed.
        NonNull::new(pointer).ok_or_else(|| unsafe { self.last_error(ptr::null_mut()) })
    }

    /// What the library says about its last failure.
    ///
    /// # Safety
    /// The library is loaded; `pointer` is null or an implementation that this made and that is
    /// not destroyed.
    pub(crate) unsafe fn last_error(&self, pointer: *mut c_void) -> Option<String> {
        let last_error = self.last_error?;
        // SAFETY: the pointer is as asked for; what comes back is null or text.
        unsafe { text::read(last_error(pointer), MAX_ERROR_BYTES) }
    }
}

/// Options as C has them.
pub(crate) fn words(path: &Path, options: Option<&str>) -> Result<Option<CString>, LoadError> {
    options
        .map(CString::new)
        .transpose()
        .map_err(|error| LoadError::Options { path: path.to_path_buf(), at: error.nul_position() })
}

/// The profile that an implementation has of its own, if it has one. Keys that it leaves alone,
/// since it was compiled before they existed, are as in `sync-dma`.
///
/// # Safety
/// `function` is of the library that `pointer` is an implementation of, and that is not destroyed.
pub(crate) unsafe fn declared_profile(
    function: Option<raw::GetProfile>,
    pointer: NonNull<c_void>,
) -> Result<Option<Profile>, String> {
    let Some(function) = function else { return Ok(None) };
    let mut profile = Profile::sync_dma();
    let mut values: Vec<i64> = KEYS.iter().map(|key| key.code(&profile)).collect();
    // SAFETY: the implementation is alive, and there are as many values as the call says.
    match unsafe { function(pointer.as_ptr(), values.as_mut_ptr(), values.len() as u32) } {
        TP_OK => {}
        TP_FAIL => return Ok(None),
        other => return Err(code::unknown("profile", other, "")),
    }
    for (key, value) in KEYS.iter().zip(values) {
        key.set_code(&mut profile, value).map_err(|error| error.to_string())?;
    }
    profile.validate().map_err(|error| error.to_string())?;
    Ok(Some(profile))
}
