//! Each fault of writing does what its sentence says, and nothing where it does not apply.

use crate::image::{FULL_BITS, full, full_sectors, full_stream, read_turn, soft, words};
use crate::play::{Play, Played, T, bits, over, words_text};
use trackproof_contract::{Action, Medium, Profile, Start, Underrun};

const WORDS: [u64; 3] = [0x4489, 0x5554, 0x2aa9];

fn old() -> String {
    "10010100010".repeat(37)[..400].into()
}

/// Three words written from cell 10 on.
fn write(fault: &'static str) -> Play {
    Play::new(&old()).faulty(fault).write(10 * T, Start::Now, &WORDS)
}

fn shown(play: Play) -> String {
    play.until(800 * T).shown(0)
}

/// The words of a full-track image's stream, with the fault.
fn stream(fault: &'static str) -> String {
    words_text(&read_turn(full().faulty(fault), 1, FULL_BITS))
}

/// How many cells of two strings differ, and the first that does.
fn differing(one: &str, other: &str) -> (usize, usize) {
    assert_eq!(one.len(), other.len());
    let mut places = (0..).zip(one.bytes().zip(other.bytes())).filter(|(_, (a, b))| a != b);
    let first = places.next().expect("some cell").0;
    (places.count() + 1, first)
}

#[test]
fn an_image_may_be_streamed_without_clock() {
    let correct = full_stream(&full_sectors());
    let marks = |at: usize| at < 960 && (64..112).contains(&(at % 320));
    let without: String = (0..)
        .zip(correct.chars())
        .map(|(at, bit)| if at % 2 == 0 && !marks(at) { '0' } else { bit })
        .collect();
    assert_eq!(stream("image-without-clock"), without);
}

#[test]
fn an_images_clock_may_forget_what_was_before() {
    let correct = full_stream(&full_sectors());
    let forgetful = stream("image-forgets-each-byte");
    let (count, _) = differing(&correct, &forgetful);
    let close = |text: &str| text.contains("11");
    assert!(count > 5 && !close(&correct) && close(&forgetful));
    assert!(
        (0..)
            .zip(correct.bytes().zip(forgetful.bytes()))
            .all(|(at, (a, b))| a == b || at % 16 == 0)
    );
    assert_eq!(differing(&correct, &stream("image-forgets-at-wrap")), (1, 0));
}

#[test]
fn an_images_marks_and_checks_may_be_wrong() {
    let correct = full_stream(&full_sectors());
    assert_eq!(stream("mark-with-clock"), correct.replace("0100010010001001", "0100010010101001"));
    let checks = stream("image-check-wrong");
    // The last bit of a check also makes the clock bit behind it.
    let in_check = |at: usize| !(1..320 - 32).contains(&(at % 320));
    assert_ne!(checks, correct);
    assert!((0..960).all(|at| in_check(at) || checks[at..=at] == correct[at..=at]));
    let soft_stream = |fault| read_turn(soft().faulty(fault), 1, crate::image::SOFT_BITS);
    let marked = soft_stream("mark-with-clock");
    assert!(marked.contains(&0x52a4) && marked.contains(&0x44a9) && !marked.contains(&0x5224));
}

#[test]
fn words_may_be_lost_or_too_many() {
    let written = |words: &[u64]| over(&old(), 10, &words_text(words));
    assert_eq!(shown(write("first-word-lost")), written(&WORDS[1..]));
    assert_eq!(shown(write("last-word-lost")), written(&WORDS[..2]));
    assert_eq!(shown(write("extra-word")), written(&[WORDS[0], WORDS[1], WORDS[2], WORDS[2]]));
    let one = |fault| shown(Play::new(&old()).faulty(fault).write(10 * T, Start::Now, &[0x1234]));
    assert_eq!(one("first-word-lost"), written(&[0x1234]));
    assert_eq!(one("last-word-lost"), written(&[0x1234]));
}

#[test]
fn a_one_beside_a_one_may_be_dropped() {
    let play =
        Play::new(&old()).faulty("lone-one-dropped").write(10 * T, Start::Now, &[0x3f01, 0xa000]);
    let written = "0010101000000001".to_string() + "0010000000000000";
    assert_eq!(shown(play), over(&old(), 10, &written));
}

#[test]
fn another_drive_or_side_may_be_written() {
    let two = |fault| {
        let mut play = Play::new(&old()).faulty(fault);
        play.drive(400);
        play.track(1, 0, Medium::image_bits(bits(&old())));
        play.track(0, 1, Medium::image_bits(bits(&old())));
        play
    };
    let written = over(&old(), 10, &words_text(&WORDS));
    let drive =
        two("writes-drive-before").at(5 * T, Action::Select(2)).write(10 * T, Start::Now, &WORDS);
    let drive = drive.until(400 * T);
    assert_eq!((drive.shown(0), drive.shown(1)), (written.clone(), old()));
    let side =
        two("writes-side-before").at(5 * T, Action::Side(1)).write(10 * T, Start::Now, &WORDS);
    let side = side.until(400 * T);
    assert_eq!((side.shown(0), side.shown(2)), (written, old()));
}

#[test]
fn an_abort_may_come_at_the_words_end() {
    let aborted = write("gate-finishes-word").at(33 * T + 1, Action::Abort);
    assert_eq!(shown(aborted), over(&old(), 10, &words_text(&WORDS[..2])));
    let at_a_seam = write("gate-finishes-word").at(26 * T, Action::Abort);
    assert_eq!(shown(at_a_seam), over(&old(), 10, &words_text(&WORDS[..1])));
}

#[test]
fn a_protected_medium_may_be_written() {
    let protected = |checks| {
        let mut play = write("protect-ignored");
        play.drives[0].write_protected = true;
        shown(play.with(|profile: &mut Profile| profile.checks_protect = checks))
    };
    let written = over(&old(), 10, &words_text(&WORDS));
    assert_eq!(protected(trackproof_contract::YesNo::No), written);
    assert_eq!(protected(trackproof_contract::YesNo::Yes), written);
}

#[test]
fn the_gate_may_flash_for_a_write_that_is_none() {
    let ones = "1".repeat(400);
    let play = Play::new(&ones).faulty("flashes-gate").write(10 * T, Start::Now, &[]);
    assert_eq!(shown(play), over(&ones, 10, "0"));
    let mut play = Play::new(&ones).faulty("flashes-gate").write(10 * T + 1, Start::Now, &WORDS);
    play.drives[0].write_protected = true;
    assert_eq!(
        shown(play.with(|profile| profile.checks_protect = trackproof_contract::YesNo::Yes)),
        ones
    );
    let busy = Play::new(&ones).faulty("flashes-gate").read(10 * T, Start::Index, 2, 0).write(
        20 * T,
        Start::Now,
        &WORDS,
    );
    assert_eq!(shown(busy), over(&ones, 20, "0"));
}

#[test]
fn an_underrun_may_repeat_half_a_word() {
    let play = Play::new(&old())
        .faulty("underrun-half-word")
        .with(|profile| profile.underrun = Underrun::Zeros)
        .write_served(10 * T, Start::Now, &WORDS, &[0, 0, 36 * T]);
    let written = words_text(&WORDS[..2]) + "01010101" + &words_text(&WORDS[2..]);
    assert_eq!(shown(play), over(&old(), 10, &written));
}

#[test]
fn only_the_first_turn_may_stay() {
    let words: Vec<u64> = (0..30).map(|n| 0x1111 * (n % 16)).collect();
    let play = Play::new(&old()).faulty("first-turn-only").write(4 * T, Start::Now, &words);
    assert_eq!(shown(play), over(&old(), 4, &words_text(&words)[..400]));
}

#[test]
fn the_old_turn_may_be_read_for_a_turn() {
    let read = |at: u64| -> Vec<u64> {
        let play = write("stale-turn").with(|profile| {
            profile.counter = trackproof_contract::Counter::ZeroedAtStart;
        });
        let played: Played = play.read(at * T, Start::Now, 3, 60).until(1_000 * T);
        played.words(1)
    };
    assert_eq!(read(410), words(&old()[10..58]));
    assert_eq!(read(810), WORDS);
}

#[test]
fn a_start_may_be_late() {
    let index = Play::new(&old())
        .faulty("late-at-index")
        .with(|profile| profile.slack_max = 1)
        .write(399 * T, Start::Index, &WORDS);
    assert_eq!(shown(index), over(&old(), 2, &words_text(&WORDS)));
    let turn = over(&"0".repeat(400), 50, &words_text(&[0x4489]));
    let at_match = Play::new(&turn)
        .faulty("late-at-match")
        .at(0, Action::HardwareSync(true))
        .write(10 * T, Start::Match, &WORDS);
    assert_eq!(shown(at_match), over(&turn, 68, &words_text(&WORDS)));
}

#[test]
fn the_third_word_before_may_be_erased() {
    let play = Play::new(&old()).faulty("erases-before-start").write(100 * T, Start::Now, &WORDS);
    let erased = over(&old(), 52, &"0".repeat(16));
    assert_eq!(shown(play), over(&erased, 100, &words_text(&WORDS)));
}
