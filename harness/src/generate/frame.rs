//! The frame of a case: what its tracks and its program must agree on, drawn first.

use super::choices::Choices;
use trackproof_contract::{MAX_DRIVES, Profile, Recording, YesNo};
use trackproof_model::code::Mark;

/// How long a case's tracks are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Size {
    /// At most 512 channel bits: a turn that a person can read through.
    Short,
    /// At most 4 096.
    Middle,
    /// A whole track of a standard density, or a denser one.
    Whole,
}

/// Most events of a case whose tracks are no whole ones.
const EVENTS: u64 = 2_000;

/// Most events of a case with whole tracks: a few turns, a service a word.
const WHOLE_EVENTS: u64 = 30_000;

/// Kinds of service rhythm, see `service.rs`.
pub(super) const RHYTHMS: u32 = 5;

/// What tracks and program of one case share.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) size: Size,
    pub(super) recording: Recording,
    /// T, in nanoseconds.
    pub(super) cell_ns: u64,
    /// W, in channel bits.
    pub(super) word_bits: u64,
    /// R, in channel bits.
    pub(super) register_bits: u64,
    /// D, in words.
    pub(super) fifo_words: u64,
    pub(super) max_words: u64,
    /// Channel bits of a byte at the byte port, 0 where there is no port.
    pub(super) byte_bits: u64,
    /// The sync word of power-up.
    pub(super) default_sync: u64,
    /// The sync word that the tracks carry and most of the program is about.
    pub(super) sync: u64,
    /// Another one.
    pub(super) other_sync: u64,
    /// Channel bits a turn of each drive; as many are used as the case has drives.
    pub(super) turn_bits: [u64; MAX_DRIVES],
    pub(super) drives: usize,
    /// How many events the case may have.
    pub(super) events: u64,
    /// The kinds of operation that the random parts of the program are made of, a bit each.
    pub(super) operations: u64,
    /// The service rhythms of this case, a bit each.
    pub(super) rhythms: u64,
    /// How many of eight reads are stalled.
    pub(super) stalled_of_eight: u64,
}

impl Frame {
    /// Draws a frame; `kinds` is the set of operations that the profile allows.
    pub(super) fn draw(profile: &Profile, kinds: u64, choices: &mut impl Choices) -> Self {
        let size = match choices.below(8) {
            0..4 => Size::Short,
            4..7 => Size::Middle,
            _ => Size::Whole,
        };
        let drives = if choices.chance(1, 3) { 2 } else { 1 };
        let word_bits = u64::from(profile.word_bits);
        let mut turn_bits = [draw_turn(size, word_bits, choices); MAX_DRIVES];
        if drives == 2 && choices.chance(1, 2) {
            turn_bits[1] = draw_turn(size, word_bits, choices);
        }
        let sync = draw_sync(profile, choices);
        let operations = match kinds & choices.swarm(64 - kinds.leading_zeros()) {
            0 => kinds,
            some => some,
        };
        Self {
            size,
            recording: profile.recording,
            cell_ns: u64::from(profile.channel_bit_ns),
            word_bits,
            register_bits: u64::from(profile.register_bits),
            fifo_words: u64::from(profile.fifo_words),
            max_words: u64::from(profile.max_words),
            byte_bits: match profile.byte_port {
                YesNo::Yes => u64::from(profile.byte_bits()),
                YesNo::No => 0,
            },
            default_sync: profile.default_sync_word(),
            sync,
            other_sync: draw_sync(profile, choices),
            turn_bits,
            drives,
            events: if size == Size::Whole { WHOLE_EVENTS } else { EVENTS },
            operations,
            rhythms: choices.swarm(RHYTHMS),
            stalled_of_eight: choices.pick(&[0, 0, 1, 3]),
        }
    }

    /// The time of a word, W cells.
    pub(super) const fn word_ns(&self) -> u64 {
        self.word_bits * self.cell_ns
    }

    /// What the program takes for a turn, in channel bits: the longest of the drives, and never so
    /// short that nothing could happen within it.
    pub(super) fn span_bits(&self) -> u64 {
        let longest = self.turn_bits[..self.drives].iter().copied().max().unwrap_or(1);
        longest.max(8 * self.word_bits)
    }

    /// The time of [`span_bits`](Self::span_bits).
    pub(super) fn span_ns(&self) -> u64 {
        self.span_bits() * self.cell_ns
    }
}

/// The length of a turn. Few are a multiple of the word: hardware never promised that.
fn draw_turn(size: Size, word_bits: u64, choices: &mut impl Choices) -> u64 {
    match size {
        Size::Short => match choices.weighted(&[10, 3, 1, 2]) {
            0 => choices.between(33, 512),
            1 => word_bits * choices.between(1, 512 / word_bits),
            2 => choices.between(1, 32),
            _ => choices.between(33, 160),
        },
        // Twice drawn: the shorter ones more often.
        Size::Middle => {
            let most = choices.below(4_096 - 512);
            513 + choices.between(0, most)
        }
        Size::Whole => match choices.weighted(&[10, 4, 1]) {
            0 => choices.between(12_500, 50_000),
            // FM and MFM at 250 kbit/s and 300 r/min, single density first, and a bit off.
            1 => choices.pick(&[50_000, 25_000, 12_500]) + choices.between(0, 16) - 8,
            _ => choices.between(50_000, 100_016),
        },
    }
}

/// A sync word of R bits: mostly the one of power-up, else a mark of the standards, a pattern that
/// overlaps itself at many shifts, or any.
fn draw_sync(profile: &Profile, choices: &mut impl Choices) -> u64 {
    let word = match choices.weighted(&[18, 3, 1, 2, 2, 1, 1, 2, 2]) {
        0 => profile.default_sync_word(),
        1 => u64::from(Mark::MFM_C2.channel_bits()),
        2 => u64::from(Mark::FM_IDENTIFIER.channel_bits()),
        3 => 0xaaaa_aaaa_aaaa_aaaa,
        4 => 0x5555_5555_5555_5555,
        5 => 0,
        6 => !0,
        // Two marks in a row, for registers wider than one.
        7 => 0x0001_0001_0001_0001 * u64::from(Mark::MFM_A1.channel_bits()),
        _ => choices.bits(64),
    };
    word & (!0 >> (64 - profile.register_bits))
}
