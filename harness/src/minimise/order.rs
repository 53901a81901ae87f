//! The order on cases: which of two is the simpler one.
//!
//! Total and strict: two cases of one rank are the same case. Every step of the minimiser goes
//! down in it, so the minimiser ends, and where it ends does not depend on how it came there any
//! more than the fault does.

use std::cmp::Ordering;
use trackproof_contract::{
    Case, ChangeClear, ChannelBits, ChannelKind, Direction, KEYS, Medium, Operation, Start,
};

/// A case's rank: the smaller, the simpler.
///
/// In this order: fewer operations (an access time is one), drives, tracks, words asked for, channel bits on the tracks;
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

/// Operations, drives, tracks, words, channel bits. An access time counts as an operation: it is
/// a wait in each of them.
fn sizes(case: &Case) -> [u64; 5] {
    let words = |operation: &Operation| match operation {
        Operation::Read { words, .. } => u64::from(*words),
        _ => 0,
    };
    [
        case.program.len() as u64 + u64::from(case.bench.access_ns > 0),
        case.bench.drives.len() as u64,
        case.tracks.len() as u64,
        case.program.iter().map(words).sum(),
        case.tracks.iter().map(|track| track.medium.track().len() as u64).sum(),
    ]
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
        Operation::Abort => 12,
        Operation::Reset => 13,
        Operation::PollStatus => 14,
        Operation::PollByte => 15,
        Operation::Wait { .. } => 16,
        _ => u8::MAX,
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
        values.push(match track.medium {
            Medium::ChannelBits { kind: ChannelKind::Image, .. } => 0,
            Medium::ChannelBits { kind: ChannelKind::Real, .. } => 1,
            _ => 2,
        });
        values.push(track.medium.track().len() as u64);
    }
    for operation in &case.program {
        match operation {
            Operation::Select { mask: value }
            | Operation::Motor { mask: value }
            | Operation::Side { side: value }
            | Operation::Output { value } => values.push(u64::from(*value)),
            Operation::SyncWord { word } => values.push(*word),
            Operation::Read { words, service, .. } => {
                values.extend([u64::from(*words), service.stalls.len() as u64]);
            }
            _ => {}
        }
    }
    for operation in &case.program {
        match operation {
            Operation::Wait { ns } => time(&mut values, *ns),
            Operation::Read { service, .. } => {
                for stall in &service.stalls {
                    time(&mut values, stall.length_ns);
                    time(&mut values, stall.from_ns);
                }
                time(&mut values, service.interval_ns);
                time(&mut values, service.first_ns);
            }
            _ => {}
        }
    }
    values
}

fn ones(case: &Case) -> usize {
    contents(case).map(ChannelBits::count_ones).sum()
}

fn contents(case: &Case) -> impl Iterator<Item = &ChannelBits> {
    case.tracks.iter().map(|track| track.medium.track())
}
