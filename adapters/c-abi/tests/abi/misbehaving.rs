//! Libraries that break their word in a run: the adapter's fault, with the value and the limit.

use crate::library::compile;

/// Running a case on a library made with this definition fails with a text that has these words.
fn check(name: &str, text: &str, words: &[&str]) {
    let error = compile(&[(name, text)]).run().expect_err("the run is not trusted").to_string();
    for word in words {
        assert!(error.contains(word), "{name}={text}: no `{word}` in: {error}");
    }
}

#[test]
fn a_call_that_fails_gives_its_own_words() {
    for (name, call) in [("POWER_UP", "power_up"), ("RUN", "run")] {
        check(name, "return TP_FAIL;", &[&format!("refused `{call}`: not today")]);
    }
    check("DRAIN", "code=TP_FAIL;", &["refused `drain`: not today"]);
}

#[test]
fn a_code_that_does_not_exist_breaks_the_protocol() {
    check("POWER_UP", "return 99;", &["protocol", "`power_up` returned 99", "0 (done) or -1"]);
    check("RUN", "return TP_MORE;", &["protocol", "`run` returned 1", "0 (done) or -1"]);
    check("DRAIN", "code=-2;", &["`drain` returned -2", "0 (done), 1 (more items) or -1"]);
}

#[test]
fn more_items_than_there_is_room_for_break_the_protocol() {
    check("DRAIN", "*count=capacity+1;", &["`drain` gave 4097 items", "capacity was 4096"]);
    check("DRAIN", "*count=~0ull;", &["18446744073709551615"]);
}

#[test]
fn more_and_more_breaks_the_protocol() {
    check("DRAIN", "code=TP_MORE;*count=0;", &["TP_MORE with 0 items", "at least 1"]);
    let endless = "*count=capacity;code=TP_MORE;\
                   for(uint64_t i=0;i<capacity;i++)items[i]=(tp_item){.kind=TP_ITEM_MATCH};";
    check("DRAIN", endless, &["the limit is 1000009", "1000000 signals"]);
}

#[test]
fn items_that_were_counted_and_not_written_are_found() {
    check("DRAIN", "*count+=1;", &["item 5", "kind is 4294967295", "0 to 5"]);
}

#[test]
fn items_with_impossible_values_are_named() {
    for (spoil, words) in [
        ("items[0].kind=77;", ["item 0 at 0 ns: its kind is 77", "0 to 5"]),
        ("items[1].transfer=1;", ["item 1 at 1100 ns", "transfer 1, but 1 were asked for"]),
        ("items[1].value=65536;", ["10000", "16 bits"]),
        ("items[0].value=65536;", ["status is 0x10000", "0xffff"]),
        ("items[4].value=256;", ["a byte is 256", "255"]),
        ("items[4].flag=2;", ["flag is 2", "0 or 1"]),
        ("items[3].kind=TP_ITEM_REFUSED;items[3].transfer=9;", ["transfer 9", "1 were asked for"]),
    ] {
        check("DRAIN", spoil, &words);
    }
}

#[test]
fn times_and_order_are_the_observations_form() {
    check("DRAIN", "items[4].at_ns=1;", &["malformed", "time goes back"]);
    check("DRAIN", "*count=4;", &["malformed", "has no answer"]);
}
