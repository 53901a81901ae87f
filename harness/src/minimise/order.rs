//! The order on cases: which of two is the simpler one.
//!
//! Total and strict: two cases of one rank are the same case. Every step of the minimiser goes
//! down in it, so the minimiser ends, and where it ends does not depend on how it came there any
//! more than the fault does.

use super::requests;
use std::cmp::Ordering;
use trackproof_contract::{
    Case, ChangeClear, ChannelBits, ChannelKind, Direction, KEYS, Medium, Operation, SectorLayout,
    Speed, Start, Track, WriteSource,
};

/// A case's rank: the smaller, the simpler. Of flux: shorter, calmer, plainer.
///
/// In this order: fewer operations (an access time is one), drives, tracks, words asked for
/// or given, channel bits on the tracks;
/// simpler kinds of operations; operations in canonical order; smaller values, those of the bench
/// first and times last; fewer ones on the tracks; contents that begin with more zeros. A time of
/// whole channel bits is smaller than every other time.
#[derive(Debug, Clone, Copy)]
pub struct Simplicity<'a>(&'a Case);

/// The rank of a case.
#[must_use]
pub const fn simplicity(case: &Case) -> Simplicity<'_> {
    Simplicity(case)
}

impl Ord for Simplicity<'_> {
    fn cmp(&self, other: &Self) -> Ordering {
        let (one, two) = (self.0, other.0);
        sizes(one)
            .cmp(&sizes(two))
            .then_with(|| effort(one).cmp(&effort(two)))
            .then_with(|| one.program.iter().map(sequence).cmp(two.program.iter().map(sequence)))
            .then_with(|| motion(one).cmp(&motion(two)))
            .then_with(|| values(one).cmp(&values(two)))
            .then_with(|| ones(one).cmp(&ones(two)))
            .then_with(|| contents(one).cmp(contents(two)))
            .then_with(|| {
                let codes = |case| KEYS.iter().map(move |key| key.code(case));
                codes(&one.profile).cmp(codes(&two.profile))
            })
    }
}

impl PartialOrd for Simplicity<'_> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Simplicity<'_> {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Simplicity<'_> {}

/// How flux passes: splices, the kind of its speed, then each number: how round it is, how far from
/// nominal, and cells that are too long before those that are too short.
fn motion(case: &Case) -> Vec<u64> {
    let Some(flux) = &case.flux else { return Vec::new() };
    let kind = match flux.speed {
        Speed::Even { .. } => 0,
        Speed::Step { .. } => 1,
        Speed::Ramp { .. } => 2,
        Speed::Sinusoid { .. } => 3,
    };
    let number = |value: i32, round: u64| {
        let far = u64::from(value.unsigned_abs());
        let rough = [round * 100, round * 10, round];
        let rough = rough.into_iter().position(|unit| far.is_multiple_of(unit)).unwrap_or(3);
        [rough as u64, far, u64::from(value < 0)]
    };
    let mut values = vec![flux.displaced.len() as u64, flux.splices.len() as u64, kind];
    values.extend(number(flux.peak_shift.into(), 1));
    values.extend(flux.speed.numbers().into_iter().flat_map(|ppm| number(ppm, 100)));
    for one in &flux.displaced {
        values.extend(number(one.by.into(), 1));
        values.push(one.transition.into());
    }
    for splice in &flux.splices {
        values.extend(number(splice.moved.into(), 1));
        values.push(splice.cell.into());
    }
    values
}

/// Operations, drives, tracks, words, channel bits. An access time counts as an operation: it is
/// a wait in each of them.
fn sizes(case: &Case) -> [u64; 5] {
    [
        case.program.len() as u64 + u64::from(case.bench.access_ns > 0),
        case.bench.drives.len() as u64,
        case.tracks.len() as u64,
        words(case),
        channel_bits(case),
    ]
}

/// Words that the program's requests ask for, or give.
pub(crate) fn words(case: &Case) -> u64 {
    case.program.iter().map(|one| requests::words(one, case.profile.word_bits)).sum()
}

/// Channel bits of all recorded tracks.
pub(crate) fn channel_bits(case: &Case) -> u64 {
    // Of an image's track the whole turn: its data alone would look shorter than their stream.
    let bits = |track: &Track| match &track.medium {
        Medium::ChannelBits { track, .. } => track.len() as u64,
        _ => {
            let drive = case.bench.drives.get(usize::from(track.drive));
            drive.map_or(0, |drive| u64::from(drive.turn_bits))
        }
    };
    let flux = case.flux.as_ref().map_or(0, |flux| flux.bits.len() as u64);
    case.tracks.iter().map(bits).sum::<u64>() + flux
}

/// How much a reader has to know for the program's operations and the tracks' kinds, in sum.
fn effort(case: &Case) -> u64 {
    let slow_host = u64::from(case.bench.access_ns > 0);
    let media = case.tracks.iter().map(|track| match track.medium {
        Medium::ChannelBits { kind: ChannelKind::Image, .. } => 0,
        Medium::ChannelBits { kind: ChannelKind::Real, .. } => 1,
        _ => 2,
    });
    let operations = case.program.iter().map(|operation| u64::from(weight(operation)));
    slow_host + media.chain(operations).sum::<u64>()
}

/// How much a reader has to know for one operation.
pub(super) const fn weight(operation: &Operation) -> u8 {
    match operation {
        Operation::Wait { .. } => 0,
        Operation::PollStatus => 1,
        Operation::PollByte => 2,
        Operation::Output { .. } => 3,
        Operation::Motor { .. } => 4,
        Operation::Select { .. } => 5,
        Operation::Side { .. } => 6,
        Operation::Step { direction: Direction::Out } => 7,
        Operation::Step { direction: Direction::In } => 8,
        Operation::HardwareSync { on: false } => 9,
        Operation::HardwareSync { on: true } => 10,
        Operation::SyncWord { .. } => 11,
        Operation::Abort => 12,
        Operation::Reset => 13,
        Operation::Read { start: Start::Now, .. } => 14,
        Operation::Read { start: Start::Index, .. } => 15,
        Operation::Read { start: Start::Match, .. } => 16,
        Operation::Write { start, source, .. } => 17 + 3 * rank(*start) + told(source),
        _ => u8::MAX,
    }
}

/// The canonical order of operations that may stand either way: what sets up, what transfers,
/// what looks, time.
const fn sequence(operation: &Operation) -> u8 {
    match operation {
        Operation::Select { .. } => 0,
        Operation::Motor { .. } => 1,
        Operation::Side { .. } => 2,
        Operation::Step { direction: Direction::Out } => 3,
        Operation::Step { direction: Direction::In } => 4,
        Operation::HardwareSync { on: false } => 5,
        Operation::HardwareSync { on: true } => 6,
        Operation::SyncWord { .. } => 7,
        Operation::Output { .. } => 8,
        Operation::Read { start: Start::Now, .. } => 9,
        Operation::Read { start: Start::Index, .. } => 10,
        Operation::Read { start: Start::Match, .. } => 11,
        Operation::Write { start, source, .. } => 12 + 3 * rank(*start) + told(source),
        Operation::Abort => 21,
        Operation::Reset => 22,
        Operation::PollStatus => 23,
        Operation::PollByte => 24,
        Operation::Wait { .. } => 25,
        _ => u8::MAX,
    }
}

/// How much a start takes to be understood.
const fn rank(start: Start) -> u8 {
    match start {
        Start::Now => 0,
        Start::Index => 1,
        Start::Match => 2,
    }
}

/// How much there is to know of where written words come from.
const fn told(source: &WriteSource) -> u8 {
    match source {
        WriteSource::Words(_) => 0,
        WriteSource::Copy { align: None, .. } => 1,
        WriteSource::Copy { align: Some(_), .. } => 2,
    }
}

/// A medium's kind and the numbers of its layout.
fn layout(medium: &Medium) -> [u64; 7] {
    match medium {
        Medium::ChannelBits { kind: ChannelKind::Image, .. } => [0; 7],
        Medium::ChannelBits { kind: ChannelKind::Real, .. } => [1, 0, 0, 0, 0, 0, 0],
        medium => match medium.layout() {
            Some(SectorLayout::FullTrack { sectors, sector_bytes }) => {
                [2, u64::from(sectors), u64::from(sector_bytes), 0, 0, 0, 0]
            }
            Some(SectorLayout::SoftSector {
                sectors,
                size_code,
                gap_4a_bytes,
                gap_1_bytes,
                gap_2_bytes,
                gap_3_bytes,
            }) => {
                let gaps = [gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes].map(u64::from);
                let [gap_4a, gap_1, gap_2, gap_3] = gaps;
                [3, u64::from(sectors), u64::from(size_code), gap_4a, gap_1, gap_2, gap_3]
            }
            _ => [u64::MAX; 7],
        },
    }
}

/// Every number of the case but the contents, the most important first.
fn values(case: &Case) -> Vec<u64> {
    let bit_ns = u64::from(case.profile.channel_bit_ns.max(1));
    let mut values = Vec::with_capacity(64);
    let time = |values: &mut Vec<u64>, ns: u64| {
        values.push(u64::from(!ns.is_multiple_of(bit_ns)));
        values.push(ns);
    };
    for drive in &case.bench.drives {
        values.push(u64::from(drive.turn_bits));
        time(&mut values, drive.spin_up_ns);
        values.push(u64::from(drive.write_protected));
        values.push(u64::from(drive.change_clear != ChangeClear::Step));
        values.push(u64::from(drive.cylinder));
        values.push(u64::from(drive.start_bit));
    }
    time(&mut values, u64::from(case.bench.access_ns));
    for track in &case.tracks {
        values.extend([track.drive, track.cylinder, track.side].map(u64::from));
        values.extend(layout(&track.medium));
        values.push(track.medium.track().len() as u64);
    }
    for operation in &case.program {
        match operation {
            Operation::Select { mask: value }
            | Operation::Motor { mask: value }
            | Operation::Side { side: value }
            | Operation::Output { value } => values.push(u64::from(*value)),
            Operation::SyncWord { word } => values.push(*word),
            _ => {}
        }
        if let Some(service) = operation.service() {
            let words = requests::words(operation, case.profile.word_bits);
            values.extend([words, service.stalls.len() as u64]);
        }
        if let Operation::Write {
            source: WriteSource::Copy { transfer, align, skip, .. }, ..
        } = operation
        {
            values.extend([u64::from(*skip), u64::from(*transfer), align.unwrap_or(0)]);
        }
    }
    for operation in &case.program {
        if let Operation::Wait { ns } = operation {
            time(&mut values, *ns);
        }
        if let Some(service) = operation.service() {
            for stall in &service.stalls {
                time(&mut values, stall.length_ns);
                time(&mut values, stall.from_ns);
            }
            time(&mut values, service.interval_ns);
            time(&mut values, service.first_ns);
        }
    }
    values
}

fn ones(case: &Case) -> usize {
    contents(case).map(ChannelBits::count_ones).sum()
}

/// What is recorded, then what is given to be written.
fn contents(case: &Case) -> impl Iterator<Item = &ChannelBits> {
    let given = case.program.iter().filter_map(|operation| match operation {
        Operation::Write { source: WriteSource::Words(bits), .. } => Some(bits),
        _ => None,
    });
    let flux = case.flux.iter().map(|flux| &flux.bits);
    case.tracks.iter().map(|track| track.medium.track()).chain(given).chain(flux)
}
