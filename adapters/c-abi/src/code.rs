//! What a function returned that is none of the codes it may return.

/// The code in words; `more` names those that it may return beside the usual two.
pub(crate) fn unknown(call: &str, code: i32, more: &str) -> String {
    format!("`{call}` returned {code}; it may return 0 (done){more} or -1 (not done)")
}

/// Why something failed of which nothing says why.
pub(crate) const NO_REASON: &str = "it gave no reason by last_error()";
