//! Libraries that cannot be used at all: the error says where, what, the limit and what to do.

use crate::library::compile;
use std::path::Path;
use trackproof_c_abi::Library;

/// Opening a library made with these definitions, or making an implementation, fails with a text
/// that holds its path and all these words.
fn check(definitions: &[(&str, &str)], words: &[&str]) {
    let compiled = compile(definitions);
    let result = compiled.open().and_then(|library| library.create(Some("a,b")));
    let error = result.expect_err("it is refused").to_string();
    assert!(error.contains(&*compiled.path().to_string_lossy()), "no path in: {error}");
    for word in words {
        assert!(error.contains(word), "no `{word}` in: {error}");
    }
}

#[test]
fn a_file_that_is_not_there_or_no_library_is_named() {
    let error = Library::open(Path::new("/nowhere/libnone.so")).unwrap_err().to_string();
    assert!(error.contains("/nowhere/libnone.so: no such file"), "{error}");
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), "no library").unwrap();
    let error = Library::open(file.path()).unwrap_err().to_string();
    assert!(error.contains(&*file.path().to_string_lossy()), "{error}");
    assert!(error.contains("cannot be opened as a shared library"), "{error}");
}

#[test]
fn a_library_without_the_entry_is_refused() {
    check(&[("ENTRY_NAME", "some_other_entry")], &["exports no `tp_adapter_entry`", "visible"]);
}

#[test]
fn a_library_that_needs_a_function_which_nobody_has_is_refused_and_does_not_crash_later() {
    let missing = "extern void*nobody_has_this(void);if(options)return nobody_has_this();";
    check(&[("CREATE", missing)], &["cannot be opened", "nobody_has_this"]);
}

#[test]
fn a_library_of_another_major_number_is_refused() {
    check(&[("ENTRY_RESULT", "NULL")], &["tp_adapter_entry(1)", "null", "major number 1"]);
    check(&[("TABLE_MAJOR", "2")], &["`abi_major` is 2", "1 was asked for"]);
}

#[test]
fn a_size_that_cannot_be_true_is_refused() {
    for size in ["0", "7", "65537", "0xffffffff"] {
        let said = size.replace("0xffffffff", "4294967295");
        let said = format!("`struct_size` is {said}");
        check(&[("TABLE_BYTES", size)], &[&said, "the limits are 8 and 65536", "sizeof"]);
    }
}

#[test]
fn a_function_that_is_null_or_beyond_the_tables_end_is_named() {
    check(&[("DRAIN_FUNCTION", "NULL")], &["bytes has no `drain`", "must have"]);
    for (field, first_absent) in [
        ("name", "create"),
        ("create", "create"),
        ("destroy", "destroy"),
        ("capabilities", "capabilities"),
        ("profile", "power_up"),
        ("run", "run"),
        ("drain", "drain"),
    ] {
        let bytes = format!("offsetof(tp_adapter,{field})");
        check(&[("TABLE_BYTES", &bytes)], &[&format!("has no `{first_absent}`")]);
    }
}

#[test]
fn an_implementation_that_cannot_be_made_says_why() {
    let refuse = ("CREATE", "return NULL;");
    check(&[refuse], &["`create(\"a,b\")` returned null: not today"]);
    check(&[refuse, ("WHY", "NULL")], &["returned null: it gave no reason"]);
    let unreadable = ("WHY", "\"\\xff!\"");
    check(&[refuse, unreadable], &["returned null: \u{fffd}!"]);
}

#[test]
fn options_with_a_zero_byte_are_refused() {
    let compiled = compile(&[]);
    let error = compiled.open().unwrap().create(Some("ab\0c")).unwrap_err().to_string();
    assert!(error.contains("zero byte at 2"), "{error}");
}

#[test]
fn texts_are_read_to_their_limits_only() {
    let why = "memset(long_text,'x',sizeof long_text)";
    let compiled = compile(&[("CREATE", "return NULL;"), ("WHY", why)]);
    let error = compiled.open().unwrap().create(None).unwrap_err().to_string();
    assert!(error.contains("limit of 1000 bytes") && error.len() < 1_300, "{error}");
}

#[test]
fn a_declared_profile_out_of_its_limits_is_refused() {
    for (body, words) in [
        ("values[TP_KEY_PARTIAL]=3;return 0;", ["`partial`", "drop | pad-low | finish"]),
        ("values[TP_KEY_FIFO_WORDS]=-1;return 0;", ["`fifo_words`", "`-1`"]),
        ("values[TP_KEY_FIFO_WORDS]=1025;return 0;", ["`fifo_words` is 1025", "1024"]),
        ("return 99;", ["`profile` returned 99", "0 (done) or -1"]),
    ] {
        check(&[("PROFILE", body)], &words);
    }
}
