//! The frame of a case: what its tracks and its program must agree on, drawn first.

use super::choices::Choices;
use super::image;
use super::program::Kind;
use trackproof_contract::{
    Capabilities, Capability, ChannelKind, MAX_DRIVES, Profile, Recording, SectorLayout, WriteUnit,
    YesNo,
};
use trackproof_model::code::Mark;

/// What a generator's cases may be made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scope {
    /// The kinds of operation that a reading program may have, a bit each.
    kinds: u64,
    /// Whether programs may write.
    writes: bool,
    /// Whether drives may be backed by images of sectors.
    images: bool,
}

impl Scope {
    /// The scope for controllers of one profile that can do so much.
    pub(super) fn of(profile: &Profile, capabilities: Capabilities) -> Self {
        Self {
            kinds: Kind::allowed(profile.byte_port),
            writes: capabilities.has(Capability::Write),
            images: capabilities.has(Capability::ImageDrives)
                && profile.recording == Recording::Mfm,
        }
    }
}

/// What the tracks of one drive are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Backing {
    /// Channel bits.
    Bits(ChannelKind),
    /// Sectors in that layout.
    Sectors(SectorLayout),
}

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

/// Of twenty cases so many write.
const WRITES_OF_TWENTY: u64 = 9;

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
    /// Whether the program writes.
    pub(super) writes: bool,
    pub(super) write_unit: WriteUnit,
    /// Channel bits from the gate's opening, or from a match, to the first written one.
    pub(super) lead_bits: u64,
    /// What the tracks of each drive are; as many are used as the case has drives.
    pub(super) backings: [Backing; MAX_DRIVES],
    /// Channel bits a turn of each drive.
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
    /// Draws a frame.
    pub(super) fn draw(profile: &Profile, scope: Scope, choices: &mut impl Choices) -> Self {
        let size = match choices.below(8) {
            0..4 => Size::Short,
            4..7 => Size::Middle,
            _ => Size::Whole,
        };
        let writes = choices.chance(WRITES_OF_TWENTY, 20) && scope.writes;
        let drives = if choices.chance(1, if writes { 2 } else { 3 }) { 2 } else { 1 };
        let word_bits = u64::from(profile.word_bits);
        let mut backings = [Backing::Bits(ChannelKind::Image); MAX_DRIVES];
        for (drive, backing) in backings.iter_mut().enumerate().take(drives) {
            // Images are copied to disks: what the last drive has is mostly no image as well.
            let images = (drive == 0 || choices.chance(1, 4)) && scope.images;
            *backing = draw_backing(size, writes, images, choices);
        }
        let mut turn_bits = [draw_turn(size, word_bits, choices); MAX_DRIVES];
        if drives == 2 && choices.chance(1, if writes { 4 } else { 2 }) {
            turn_bits[1] = draw_turn(size, word_bits, choices);
        }
        hold_layouts(&mut turn_bits, &backings[..drives], size, choices);
        let real = backings.contains(&Backing::Bits(ChannelKind::Real));
        let overlapping = !real && (!writes || choices.chance(1, 8));
        let sectors = backings.iter().any(|backing| matches!(backing, Backing::Sectors(_)));
        // The sectors' own sync is that of power-up.
        let sync = match sectors && !choices.chance(1, 8) {
            true => profile.default_sync_word(),
            false => draw_sync(profile, overlapping, choices),
        };
        let kinds = scope.kinds;
        let mut operations = match kinds & choices.swarm(64 - kinds.leading_zeros()) {
            0 => kinds,
            some => some,
        };
        if writes {
            operations |= 1 << Kind::Write as u64;
        }
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
            other_sync: draw_sync(profile, overlapping, choices),
            writes,
            write_unit: profile.write_unit,
            lead_bits: u64::from(profile.gate_lead.max(profile.match_to_write)),
            backings,
            turn_bits,
            drives,
            events: if size == Size::Whole { WHOLE_EVENTS } else { EVENTS },
            operations,
            rhythms: choices.swarm(RHYTHMS),
            stalled_of_eight: choices.pick(&[0, 0, 1, 3]),
        }
    }

    /// Whether the program may copy an image to a disk.
    pub(super) fn copies_an_image(&self) -> bool {
        self.writes && self.drives > 1 && matches!(self.backings[0], Backing::Sectors(_))
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

/// What a drive's tracks are: those that are written are mostly what real media are.
fn draw_backing(size: Size, writes: bool, images: bool, choices: &mut impl Choices) -> Backing {
    let weights = if writes { [10, 4, 5] } else { [3, 12, 3] };
    match choices.weighted(&weights) {
        0 => Backing::Bits(ChannelKind::Real),
        2 if images => Backing::Sectors(image::draw_layout(size, choices)),
        _ => Backing::Bits(ChannelKind::Image),
    }
}

/// Gives image-backed drives turns that hold their layouts. A drive of channel bits beside one
/// then mostly has the same: what is copied to it should fit.
fn hold_layouts(
    turn_bits: &mut [u64; MAX_DRIVES],
    backings: &[Backing],
    size: Size,
    choices: &mut impl Choices,
) {
    let mut copied = None;
    for (turn, backing) in turn_bits.iter_mut().zip(backings) {
        if let Backing::Sectors(layout) = backing {
            *turn = image::draw_turn(*layout, size, choices);
            copied = Some(*turn);
        }
    }
    for (turn, backing) in turn_bits.iter_mut().zip(backings) {
        if let (Backing::Bits(_), Some(copied)) = (backing, copied)
            && choices.chance(3, 4)
        {
            *turn = copied;
        }
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
///
/// A pattern that overlaps itself on a medium with free bits matches anywhere, or not: that tells
/// nothing and is hard to judge, so it comes only where `overlapping` says so.
fn draw_sync(profile: &Profile, overlapping: bool, choices: &mut impl Choices) -> u64 {
    let weights =
        if overlapping { [18, 3, 1, 2, 2, 1, 1, 2, 2] } else { [18, 3, 1, 0, 0, 0, 0, 2, 2] };
    let word = match choices.weighted(&weights) {
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
