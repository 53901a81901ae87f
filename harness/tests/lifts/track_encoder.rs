//! Track encoders on their lift: a right one is not accused, spoiled ones are.

use crate::checked::{check, first_error, rules_of};
use std::sync::Arc;
use trackproof::campaign::Summary;
use trackproof::lift::track_encoder;
use trackproof_contract::{
    ChannelBits, ImageTrack, Profile, SeamError, SectorLayout, TrackEncoder,
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Spoiled {
    Nothing,
    /// Data bits alone.
    NoClock,
    /// Each byte's first clock bit looks at a 0.
    ForgetsAtBytes,
    /// Marks go through the clock generator like any byte.
    MarksWithClock,
    /// The checks are those of the next sector's number.
    WrongChecks,
    /// One channel bit short.
    TooShort,
    NotThere,
}

struct SmallEncoder(Spoiled);

/// A byte of the track, or a mark with its channel word.
type Cell = (u8, Option<u16>);

const A1: Cell = (0xa1, Some(0x4489));
const C2: Cell = (0xc2, Some(0x5224));

/// The check of three A1 and a field: bit by bit, polynomial 1021, begun with FFFF.
fn crc(field: &[u8]) -> [u8; 2] {
    let mut register = 0xffff_u16;
    for byte in [0xa1, 0xa1, 0xa1].iter().chain(field) {
        register ^= u16::from(*byte) << 8;
        for _ in 0..8 {
            let carry = register & 0x8000 != 0;
            register = register << 1 ^ if carry { 0x1021 } else { 0 };
        }
    }
    register.to_be_bytes()
}

fn split(field: &[u8]) -> Vec<Cell> {
    let mut bits = Vec::new();
    for first in [6, 7] {
        let picked = field.iter().flat_map(|byte| (0..4).map(move |n| byte >> (first - 2 * n) & 1));
        bits.extend(picked);
    }
    bits.chunks(8).map(|byte| (byte.iter().fold(0, |all, bit| all << 1 | bit), None)).collect()
}

impl SmallEncoder {
    fn checked(&self, mut field: Vec<u8>) -> Vec<u8> {
        let mut seen = field.clone();
        if self.0 == Spoiled::WrongChecks {
            seen[0] ^= 1;
        }
        field.extend(crc(&seen));
        field
    }

    fn bytes(&self, track: &ImageTrack<'_>) -> Vec<Cell> {
        let plain = |byte: u8, count: usize| std::iter::repeat_n((byte, None), count);
        let whole = |field: Vec<u8>| field.into_iter().map(|byte| (byte, None));
        let place = |sector: usize, last: u8| vec![track.cylinder, track.side, sector as u8, last];
        let mut cells: Vec<Cell> = Vec::new();
        let data = track.sectors.chunks(track.layout.sector_bytes());
        match track.layout {
            SectorLayout::FullTrack { .. } => {
                for (sector, data) in data.enumerate() {
                    cells.extend(plain(0, 4).chain([A1; 3]));
                    for field in [place(sector, 0), data.to_vec()] {
                        let checked = self.checked(field);
                        let (field, check) = checked.split_at(checked.len() - 2);
                        cells.extend(split(field).into_iter().chain(split(check)));
                    }
                }
            }
            SectorLayout::SoftSector {
                size_code,
                gap_4a_bytes,
                gap_1_bytes,
                gap_2_bytes,
                gap_3_bytes,
                ..
            } => {
                if gap_4a_bytes > 0 {
                    cells.extend(plain(0x4e, gap_4a_bytes.into()).chain(plain(0, 12)));
                    cells.extend([C2; 3].into_iter().chain(plain(0xfc, 1)));
                }
                cells.extend(plain(0x4e, gap_1_bytes.into()));
                for (index, data) in data.enumerate() {
                    let address = [&[0xfe], place(index + 1, size_code).as_slice()].concat();
                    for (field, gap) in
                        [(address, gap_2_bytes), ([&[0xfb], data].concat(), gap_3_bytes)]
                    {
                        cells.extend(plain(0, 12).chain([A1; 3]));
                        cells.extend(whole(self.checked(field)));
                        cells.extend(plain(0x4e, gap.into()));
                    }
                }
            }
            other => panic!("a layout that this test has not: {other:?}"),
        }
        let left = track.turn_bits / 16 - cells.len();
        cells.extend(plain(0x4e, left));
        cells
    }
}

impl TrackEncoder for SmallEncoder {
    fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError> {
        if self.0 == Spoiled::NotThere {
            return Err(SeamError::NotSupported);
        }
        let cells = self.bytes(track);
        let mut before = cells.last().is_some_and(|(byte, _)| byte & 1 == 1);
        let mut bits = ChannelBits::new();
        for (byte, mark) in cells {
            before &= self.0 != Spoiled::ForgetsAtBytes;
            for place in (0..8).rev() {
                let bit = byte >> place & 1 == 1;
                let clock = match mark.filter(|_| self.0 != Spoiled::MarksWithClock) {
                    Some(word) => word >> (2 * place + 1) & 1 == 1,
                    None => !before && !bit && self.0 != Spoiled::NoClock,
                };
                bits.push(u64::from(clock), 1);
                bits.push(u64::from(bit), 1);
                before = bit;
            }
        }
        if self.0 == Spoiled::TooShort {
            bits.truncate(track.turn_bits - 1);
        }
        Ok(bits)
    }
}

fn rig(spoiled: Spoiled) -> Box<dyn trackproof_contract::Rig> {
    track_encoder::rig(Arc::new(move || SmallEncoder(spoiled)))
}

fn check_small(profile: &Profile, spoiled: Spoiled) -> Summary {
    check(profile, 4_000, || rig(spoiled))
}

#[test]
fn a_right_encoder_is_not_accused_and_held_to_its_stream_alone() {
    let joined = Profile {
        slack_min: 2,
        slack_max: 3,
        read_join: trackproof_contract::YesNo::Yes,
        ..Profile::byte_stream()
    };
    for profile in [Profile::sync_dma(), Profile::byte_stream(), joined] {
        let summary = check_small(&profile, Spoiled::Nothing);
        assert_eq!(rules_of(&summary), [""; 0]);
        assert!(summary.judged > 50 && summary.words > 1_000, "{} words", summary.words);
        assert!(summary.beside > 20, "{} of our own alone", summary.beside);
        let skipped: Vec<&str> = summary.skipped_rules().map(|(rule, _)| rule.id).collect();
        assert!(skipped.contains(&"raw.contiguous") && skipped.contains(&"transfer.count"));
        assert!(!skipped.contains(&"clock.present") && !skipped.contains(&"layout.fields"));
    }
}

#[test]
fn each_spoiled_encoder_is_accused() {
    for (spoiled, rules) in [
        (Spoiled::NoClock, &["clock.present"][..]),
        (Spoiled::ForgetsAtBytes, &["clock.context"]),
        (Spoiled::MarksWithClock, &["mark.pattern"]),
        (Spoiled::WrongChecks, &["layout.fields"]),
    ] {
        let found = rules_of(&check_small(&Profile::sync_dma(), spoiled));
        assert!(rules.iter().all(|rule| found.contains(rule)), "{spoiled:?}: {found:?}");
    }
}

#[test]
fn an_encoder_that_is_not_there_or_too_short_gets_no_verdict() {
    let summary = check_small(&Profile::sync_dma(), Spoiled::NotThere);
    assert!(summary.compared_nothing());
    let error = first_error(rig(Spoiled::TooShort));
    assert!(error.contains("its turn has"), "{error}");
}
