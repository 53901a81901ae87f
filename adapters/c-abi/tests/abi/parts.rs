//! Parts of a controller out of a library: what is right comes through, and what cannot be is named
//! with the value and the limit.

use crate::library::{Compiled, compile, compile_file};
use std::fmt::Debug;
use trackproof_c_abi::{
    CDataSeparator, CTrackEncoder, CTrackWriter, CWordReader, Kind, LoadError, Offer,
};
use trackproof_contract::{
    Answer, ChannelBits, DataSeparator, ImageTrack, PolledByte, Profile, SeamError, SectorLayout,
    Start, Status, TrackEncoder, TrackWriter, TransferRequest, WordReader,
};

const READ: TransferRequest = TransferRequest { transfer: 0, words: 1, start: Start::Now };

fn parts(definitions: &[(&str, &str)]) -> Compiled {
    compile_file("parts.c", definitions)
}

/// The library, opened as what it is found to be or as `kind`.
fn open(compiled: &Compiled, kind: Option<Kind>) -> Result<Offer, LoadError> {
    Offer::open(&compiled.path(), kind)
}

/// A reader of a library with these definitions, with its power on.
fn reader(definitions: &[(&str, &str)]) -> CWordReader {
    let Offer::WordReader(library) = open(&parts(definitions), None).unwrap() else {
        panic!("the word reader is the first of the header that it exports")
    };
    let mut reader = library.maker(None).unwrap()();
    reader.power_up(&Profile::sync_dma()).unwrap();
    reader
}

fn writer(definitions: &[(&str, &str)]) -> CTrackWriter {
    match open(&parts(definitions), Some(Kind::TrackWriter)).unwrap() {
        Offer::TrackWriter(library) => library.maker(None).unwrap()(),
        other => panic!("{other:?}"),
    }
}

fn encoder(definitions: &[(&str, &str)]) -> CTrackEncoder {
    match open(&parts(definitions), Some(Kind::TrackEncoder)).unwrap() {
        Offer::TrackEncoder(library) => library.maker(None).unwrap()(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_word_reader_gets_bits_and_gives_words() {
    let mut reader = reader(&[]);
    let words: Vec<u64> = (0..32).filter_map(|n| reader.shift_in(n % 16 == 1).unwrap()).collect();
    assert_eq!(words, [0x4000, 0x4000]);
    assert_eq!(reader.set_hardware_sync(true), Ok(()));
    assert_eq!(reader.set_sync_word(0x4489), Ok(()));
    let shown = reader.poll_status().unwrap();
    assert!(shown.driven.has(Status::DONE) && !shown.driven.has(Status::BUSY));
    assert!(shown.set.has(Status::MATCH) && !shown.set.has(Status::DONE));
    assert_eq!(reader.poll_byte(), Ok(PolledByte { value: 255, fresh: true }));
    assert_eq!(reader.done_signal(), Ok(false));
    assert_eq!(reader.profile(), None);
}

#[test]
fn a_function_that_is_null_or_beyond_the_tables_end_is_a_missing_capability() {
    let mut one = reader(&[]);
    assert_eq!(one.request(READ), Err(SeamError::NotSupported));
    assert_eq!(one.service(0), Err(SeamError::NotSupported));
    assert_eq!(one.index(), Err(SeamError::NotSupported));
    assert_eq!(one.source_changed(), Err(SeamError::NotSupported));
    assert_eq!(one.reset(), Err(SeamError::NotSupported));
    assert_eq!(one.match_signal(), Err(SeamError::NotSupported));
    // Half a pointer is none.
    let mut short = reader(&[("READER_BYTES", "offsetof(tp_word_reader,abort)+4")]);
    assert_eq!(short.set_sync_word(0x4489), Ok(()));
    assert_eq!(short.abort(), Err(SeamError::NotSupported));
    assert_eq!(short.poll_byte(), Err(SeamError::NotSupported));
    // A writer without a function for it needs no profile.
    assert_eq!(writer(&[]).power_up(&Profile::sync_dma()), Ok(()));
    assert_eq!(writer(&[]).abort(), Err(SeamError::NotSupported));
}

#[test]
fn a_word_reader_with_transfers_hears_and_refuses() {
    let transfers = ("WITH_TRANSFERS", "1");
    assert_eq!(reader(&[transfers]).request(READ), Ok(Answer::Heard));
    let refuses = ("REQUEST", "return TP_REFUSED;");
    assert_eq!(reader(&[transfers, refuses]).request(READ), Ok(Answer::Refused));
    let gives = ("SERVICE", "*word=transfer+7;return TP_YES;");
    assert_eq!(reader(&[transfers, gives]).service(2), Ok(Some(9)));
    assert_eq!(reader(&[transfers]).service(2), Ok(None));
}

#[test]
fn a_writer_is_offered_words_and_shows_its_gate() {
    let mut closed = writer(&[]);
    assert_eq!(closed.write(READ, true), Ok(()));
    assert_eq!((closed.offer(0, 5), closed.begin_cell()), (Ok(true), Ok(None)));
    assert_eq!((closed.end_cell(), closed.is_busy()), (Ok(()), Ok(false)));
    for bit in [0, 1] {
        let text = format!("*bit={bit};return TP_YES;");
        assert_eq!(writer(&[("BEGIN_CELL", &text)]).begin_cell(), Ok(Some(bit == 1)));
    }
}

#[test]
fn an_encoder_gets_the_track_with_its_form() {
    let layout = SectorLayout::SoftSector {
        sectors: 1,
        size_code: 0,
        gap_4a_bytes: 0,
        gap_1_bytes: 10,
        gap_2_bytes: 22,
        gap_3_bytes: 20,
    };
    let turn_bits = layout.used_bits();
    let mut sectors = [0; 128];
    sectors[127] = 0xab;
    let track = ImageTrack { cylinder: 40, side: 1, layout, sectors: &sectors, turn_bits };
    let stream = encoder(&[]).encode(&track).unwrap();
    assert_eq!(stream.len(), turn_bits);
    assert_eq!((stream.window(0, 16), stream.window(turn_bits - 8, 8)), (0x2811, 0xab));
    let fails = encoder(&[("ENCODE", "return TP_FAIL;")]).encode(&track);
    assert_eq!(fails, Err(SeamError::failed("not today")));
}

/// What a call came to is broken protocol, in a text with all these words.
fn broken<T: Debug>(result: Result<T, SeamError>, words: &[&str]) {
    let Err(SeamError::Protocol { why }) = result else { panic!("{result:?} for {words:?}") };
    for word in words {
        assert!(why.contains(word), "no `{word}` in: {why}");
    }
}

#[test]
fn a_call_that_fails_gives_its_own_words() {
    let not_today = SeamError::failed("not today");
    let fails = "return TP_FAIL;";
    assert_eq!(reader(&[("SHIFT_IN", fails)]).shift_in(true), Err(not_today.clone()));
    assert_eq!(reader(&[("ABORT", fails)]).abort(), Err(not_today.clone()));
    assert_eq!(reader(&[]).set_sync_word(1 << 16), Err(not_today.clone()));
    assert_eq!(writer(&[("OFFER", fails)]).offer(0, 0), Err(not_today));
}

#[test]
fn a_code_that_does_not_exist_breaks_the_protocol() {
    let wrong = |name| reader(&[(name, "return 7;"), ("WITH_TRANSFERS", "1")]);
    broken(wrong("SHIFT_IN").shift_in(true), &["`shift_in` returned 7", "1 (yes) or -1"]);
    broken(wrong("REQUEST").request(READ), &["`request` returned 7", "2 (refused) or -1"]);
    broken(wrong("SERVICE").service(0), &["`service` returned 7", "1 (yes)"]);
    broken(wrong("ABORT").abort(), &["`abort` returned 7", "0 (done) or -1"]);
    broken(wrong("POLL_STATUS").poll_status(), &["`poll_status` returned 7"]);
    broken(wrong("DONE_SIGNAL").done_signal(), &["`done_signal` returned 7"]);
    // Yes is no answer to what asks nothing.
    broken(reader(&[("ABORT", "return TP_YES;")]).abort(), &["`abort` returned 1"]);
    let yes = [("REQUEST", "return TP_YES;"), ("WITH_TRANSFERS", "1")];
    broken(reader(&yes).request(READ), &["`request` returned 1"]);
    let wrong = |name| writer(&[(name, "return 7;")]);
    broken(wrong("WRITE").write(READ, false), &["`write` returned 7"]);
    broken(wrong("OFFER").offer(0, 0), &["`offer` returned 7"]);
    broken(wrong("BEGIN_CELL").begin_cell(), &["`begin_cell` returned 7"]);
    broken(wrong("END_CELL").end_cell(), &["`end_cell` returned 7"]);
    broken(wrong("DONE_SIGNAL").is_busy(), &["`is_busy` returned 7"]);
}

#[test]
fn values_that_cannot_be_are_named_with_the_limit() {
    let status = |text| reader(&[("POLL_STATUS", text)]).poll_status();
    broken(status("*driven=0x10;*set=0;"), &["*driven to 0x10", "only 0xf a reader may drive"]);
    broken(status("*driven=0x10001;*set=0;"), &["*driven to 0x10001"]);
    broken(status("*set=TP_STATUS_BUSY;"), &["*set to 0x2", "only 0x9 are driven"]);
    let byte = |text| reader(&[("POLL_BYTE", text)]).poll_byte();
    broken(byte("*value=256;"), &["*value to 256", "the limit is 255"]);
    broken(byte("*fresh=2;"), &["*fresh to 2", "0 or 1"]);
    let cell = |text| writer(&[("BEGIN_CELL", text)]).begin_cell();
    broken(cell("*bit=2;return TP_YES;"), &["*bit to 2", "0 or 1"]);
    broken(cell("return TP_YES;"), &["*bit to 4294967295"]);
    // What a reader says without having written it is wider than any word.
    let word = reader(&[("SHIFT_IN", "return TP_YES;")]).shift_in(true);
    assert_eq!(word, Ok(Some(u64::MAX)));
}

#[test]
fn status_bits_are_driven_always_or_never() {
    let text = "static int n; if (n++) *driven |= TP_STATUS_BUSY;";
    let mut reader = reader(&[("POLL_STATUS", text)]);
    assert!(reader.poll_status().is_ok());
    broken(reader.poll_status(), &["*driven to 0xb", "0x9 the first time", "always or never"]);
}

#[test]
fn signals_without_end_break_the_protocol() {
    let mut reader = reader(&[("DONE_SIGNAL", "return TP_YES;")]);
    for _ in 0..1_000_000 {
        assert_eq!(reader.done_signal(), Ok(true));
    }
    broken(reader.done_signal(), &["1000001 signals", "the limit is 1000000"]);
}

/// Opening a library with these definitions, or making its word reader, fails with these words.
fn refused(definitions: &[(&str, &str)], words: &[&str]) {
    let compiled = parts(definitions);
    let result = open(&compiled, Some(Kind::WordReader)).and_then(|offer| match offer {
        Offer::WordReader(library) => library.maker(Some("a,b")).map(drop),
        other => panic!("{other:?}"),
    });
    let error = result.expect_err("it is refused").to_string();
    assert!(error.contains(&*compiled.path().to_string_lossy()), "no path in: {error}");
    for word in words {
        assert!(error.contains(word), "no `{word}` in: {error}");
    }
}

#[test]
fn a_part_that_cannot_be_used_says_why() {
    let entry = "no_such_entry";
    refused(&[("READER_ENTRY", entry)], &["exports no `tp_word_reader_entry`", "visible"]);
    refused(&[("READER_RESULT", "NULL")], &["tp_word_reader_entry(1)", "null", "major number 1"]);
    refused(&[("MAJOR", "2")], &["`abi_major` is 2", "1 was asked for"]);
    refused(&[("READER_BYTES", "7")], &["`struct_size` is 7", "sizeof(tp_word_reader)"]);
    refused(&[("READER_BYTES", "0xffffffff")], &["is 4294967295", "8 and 65536"]);
    refused(&[("CREATE_FUNCTION", "NULL")], &["no `create`, which every tp_word_reader must"]);
    let early = "offsetof(tp_word_reader,destroy)";
    refused(&[("READER_BYTES", early)], &["no `destroy`, which every tp_word_reader must"]);
    refused(&[("CREATE", "return NULL;")], &["`create(\"a,b\")` returned null: not today"]);
    let profile = "values[TP_KEY_PARTIAL]=3;return TP_OK;";
    refused(&[("PROFILE", profile)], &["`partial`", "drop | pad-low | finish"]);
    refused(&[("PROFILE", "return TP_YES;")], &["`profile` returned 1"]);
}

#[test]
fn a_part_that_can_be_made_once_and_not_again_fails_in_its_run() {
    let once = parts(&[("CREATE", "static int n; if (n++) return NULL;")]);
    let Offer::WordReader(library) = open(&once, None).unwrap() else { panic!("a reader") };
    let mut reader = library.maker(None).unwrap()();
    let why = "`create`, which made one before, returned null: not today";
    assert_eq!(reader.power_up(&Profile::sync_dma()), Err(SeamError::failed(why)));
    assert_eq!(reader.shift_in(true), Err(SeamError::failed(why)));
    assert_eq!(reader.index(), Err(SeamError::NotSupported));
}

#[test]
fn a_part_whose_power_did_not_come_on_is_not_called() {
    // The library itself would divide by the word's width, which it has not been told.
    let compiled = parts(&[("POWER_UP", "return TP_FAIL;")]);
    let Offer::WordReader(library) = open(&compiled, None).unwrap() else { panic!("a reader") };
    let mut reader = library.maker(None).unwrap()();
    let not_today = SeamError::failed("not today");
    assert_eq!(reader.power_up(&Profile::sync_dma()), Err(not_today.clone()));
    assert_eq!(reader.shift_in(true), Err(not_today));
    assert_eq!(reader.index(), Err(SeamError::NotSupported));
}

#[test]
fn a_declared_profile_is_every_readers() {
    let seven = ("PROFILE", "values[TP_KEY_FIFO_WORDS]=7;return TP_OK;");
    let expected = Profile { fifo_words: 7, ..Profile::sync_dma() };
    assert_eq!(reader(&[seven]).profile(), Some(expected.clone()));
    assert_eq!(writer(&[seven]).profile(), Some(expected));
}

#[test]
fn a_library_is_the_first_of_what_it_exports() {
    let kind = |compiled: &Compiled| match open(compiled, None).unwrap() {
        Offer::Controller(_) => Kind::Controller,
        Offer::WordReader(_) => Kind::WordReader,
        Offer::TrackWriter(_) => Kind::TrackWriter,
        Offer::TrackEncoder(_) => Kind::TrackEncoder,
        Offer::DataSeparator(_) => Kind::DataSeparator,
    };
    assert_eq!(kind(&compile(&[])), Kind::Controller);
    assert_eq!(kind(&parts(&[])), Kind::WordReader);
    let no_reader = ("READER_ENTRY", "other_reader");
    assert_eq!(kind(&parts(&[no_reader])), Kind::TrackWriter);
    let no_writer = ("WRITER_ENTRY", "other_writer");
    assert_eq!(kind(&parts(&[no_reader, no_writer])), Kind::TrackEncoder);
    let error = open(&compile(&[("ENTRY_NAME", "other")]), None).unwrap_err().to_string();
    assert!(error.contains("exports no `tp_adapter_entry`"), "{error}");
}

fn separator(definitions: &[(&str, &str)]) -> CDataSeparator {
    match open(&parts(definitions), Some(Kind::DataSeparator)).unwrap() {
        Offer::DataSeparator(library) => library.maker(None).unwrap()(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_data_separator_gets_transitions_and_gives_bits() {
    let mut separator = separator(&[]);
    separator.power_up(&Profile::sync_dma()).unwrap();
    let mut bits = ChannelBits::new();
    separator.advance(100, &[1, 5, 9, 12, 20, 30, 40, 50, 60, 70], &mut bits).unwrap();
    assert_eq!((bits.len(), bits.count_ones()), (10, 10));
    separator.advance(200, &[], &mut bits).unwrap();
    assert_eq!((bits.len(), bits.get(10)), (11, false));
}

#[test]
fn what_a_data_separator_cannot_give_is_named() {
    let told = |body: &str| {
        let mut bits = ChannelBits::new();
        let result = separator(&[("ADVANCE", body)]).advance(9, &[3], &mut bits);
        (result.map_err(|error| error.to_string()), bits.len())
    };
    let (error, _) = told("*bit_count=capacity+1;return TP_OK;");
    assert!(error.unwrap_err().contains("*bit_count to 4097, the limit is the capacity, 4096"));
    let (error, _) = told("return TP_FAIL;");
    assert_eq!(error, Err("not today".into()));
    let (error, _) = told("return 7;");
    assert!(error.unwrap_err().contains("`advance` returned 7"));
    let (error, _) = told("*bit_count=0;return TP_MORE;");
    assert!(error.unwrap_err().contains("(more) 10000 times"));
    // More than a buffer, by and by: the transitions come with the first call alone.
    let more = "static uint32_t n;*bit_count=capacity;bits[0]=count==1&&n==0?0x80:0;\
                return ++n<3?TP_MORE:TP_OK;";
    let (result, count) = told(more);
    assert_eq!((result, count), (Ok(()), 3 * 4_096));
}
