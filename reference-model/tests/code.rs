//! The recording codes against the published clock bytes, and what makes marks unique.
//!
//! 'By enumeration' means: recomputed here from the clock rules, nothing to look up.

mod random;

use std::collections::BTreeSet;
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::run_length::{first_outside, intervals, limits, outside, transitions};
use trackproof_model::code::{
    Before, ClockError, ClockFault, Mark, clock_byte, clock_faults, data_byte, decode, encode,
    mfm_fast, regenerate_clocks, regenerate_stream_clocks,
};

const BOTH: [Before; 2] = [Before::Zero, Before::One];

fn channel_bits(recording: Recording, before: Before, data: &[u8]) -> ChannelBits {
    let mut bits = ChannelBits::new();
    encode(recording, before, data, &mut bits);
    bits
}

fn mfm(before: Before, data: &[u8]) -> ChannelBits {
    channel_bits(Recording::Mfm, before, data)
}

/// A stretch of ordinary bytes and special ones in MFM.
fn sequence(parts: &[Result<u8, Mark>]) -> ChannelBits {
    let (mut bits, mut before) = (ChannelBits::new(), Before::Zero);
    for part in parts {
        let data = match part {
            Ok(byte) => {
                encode(Recording::Mfm, before, &[*byte], &mut bits);
                *byte
            }
            Err(mark) => {
                bits.push(mark.channel_bits().into(), 16);
                mark.data
            }
        };
        before = before.after(&[data]);
    }
    bits
}

/// Where the sixteen bits stand, at any phase.
fn places(bits: &ChannelBits, word: u64) -> Vec<usize> {
    (0..=bits.len() - 16).filter(|start| bits.window(*start, 16) == word).collect()
}

/// The intervals inside a stretch, its ends left out.
fn inner_intervals(bits: &ChannelBits) -> BTreeSet<usize> {
    let ones: Vec<usize> = (0..bits.len()).filter(|bit| bits.get(*bit)).collect();
    ones.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

#[test]
fn clock_and_channel_words_are_those_of_the_handbooks() {
    // Ordinary MFM rule: SA810/860 OEM manual, 6.4 and p. 36; the words follow by enumeration.
    for (before, byte, clock, word) in [
        (Before::Zero, 0xa1, 0x0e, 0x44a9),
        (Before::Zero, 0xc2, 0x1c, 0x52a4),
        (Before::Zero, 0x00, 0xff, 0xaaaa),
        (Before::One, 0x00, 0x7f, 0x2aaa),
        (Before::Zero, 0x4e, 0x90, 0x9254),
        (Before::One, 0x4e, 0x10, 0x1254),
    ] {
        let bits = mfm(before, &[byte]).window(0, 16) as u16;
        assert_eq!((bits, clock_byte(bits), data_byte(bits)), (word, clock, byte));
    }
    for (byte, word) in [(0xfc, 0x5552), (0xfe, 0x5554), (0xfb, 0x5545), (0xf8, 0x554a)] {
        assert!(BOTH.iter().all(|before| mfm(*before, &[byte]).window(0, 16) == word));
    }
    // Clock bytes 0A and 14: SA810/860 OEM manual, fig. 6-7 and 6-8; D7: fig. 6-9; C7: from
    // memory. The words follow.
    for (mark, word) in [
        (Mark::MFM_A1, 0x4489),
        (Mark::MFM_C2, 0x5224),
        (Mark::FM_INDEX, 0xf77a),
        (Mark::FM_IDENTIFIER, 0xf57e),
        (Mark::FM_DATA, 0xf56f),
        (Mark::FM_DELETED_DATA, 0xf56a),
        // Data marks that some controllers add; both bytes from memory.
        (Mark { data: 0xf9, clock: 0xc7 }, 0xf56b),
        (Mark { data: 0xfa, clock: 0xc7 }, 0xf56e),
    ] {
        assert_eq!(mark.channel_bits(), word);
        assert_eq!((data_byte(word), clock_byte(word)), (mark.data, mark.clock));
    }
}

#[test]
fn a_mark_lacks_one_clock_bit_of_the_ordinary_byte() {
    // By enumeration; bits are numbered 8, first, to 1. Between bits 4 and 3 of A1 and between bits
    // 5 and 4 of C2: the clock bytes 0E and 1C less those of SA810/860 OEM manual, fig. 6-7.
    for (mark, before_bit) in [(Mark::MFM_A1, 3), (Mark::MFM_C2, 4)] {
        let ordinary = clock_byte(mfm(Before::Zero, &[mark.data]).window(0, 16) as u16);
        assert_eq!(ordinary & !mark.clock, 1 << (before_bit - 1), "{mark:02x?}");
        assert_eq!(mark.clock & !ordinary, 0, "{mark:02x?}");
    }
}

#[test]
fn the_fast_mfm_equals_the_plain_one_for_all_byte_pairs() {
    for before in BOTH {
        for pair in 0..=u16::MAX {
            let data = pair.to_be_bytes();
            let plain = mfm(before, &data);
            let mut fast = ChannelBits::new();
            mfm_fast::encode(before, &data, &mut fast);
            assert_eq!(fast, plain, "{data:02x?} {before:?}");
            assert_eq!(mfm_fast::decode(&plain, 0, 2), data);
            assert_eq!(decode(&plain, 0, 2), data);
        }
    }
}

#[test]
fn the_fast_mfm_equals_the_plain_one_at_any_length_and_phase() {
    for length in (0..300).chain([511, 512, 513, 1_024, 6_250]) {
        let data = random::bytes(length as u64, length);
        for before in BOTH {
            let lead = length % 67;
            let (mut plain, mut fast) = (ChannelBits::zeros(lead), ChannelBits::zeros(lead));
            encode(Recording::Mfm, before, &data, &mut plain);
            mfm_fast::encode(before, &data, &mut fast);
            assert_eq!(fast, plain, "{length} bytes, {before:?}");
            assert_eq!(mfm_fast::decode(&fast, lead, length), data);
            assert_eq!(decode(&fast, lead, length), data);
        }
    }
}

#[test]
fn regenerating_clocks_is_the_same_in_both_and_changes_no_legal_track() {
    for length in 1..200 {
        let bytes = random::bytes(length as u64, length);
        let track = ChannelBits::from_bytes(&bytes, bytes.len() * 8);
        for marks in [vec![], vec![0], vec![track.len() - 2], vec![4 * (length / 2)]] {
            let plain = regenerate_clocks(Recording::Mfm, &track, &marks).unwrap();
            assert_eq!(mfm_fast::regenerate_clocks(&track, &marks).unwrap(), plain);
            assert_eq!(regenerate_clocks(Recording::Mfm, &plain, &marks).unwrap(), plain);
            let data =
                |bits: &ChannelBits| (1..bits.len()).step_by(2).map(|i| bits.get(i)).collect();
            let (before, after): (Vec<bool>, Vec<bool>) = (data(&track), data(&plain));
            assert_eq!(before, after, "data bits stay");
            for mark in marks {
                for bit in (0..16).step_by(2).map(|bit| (mark + bit) % track.len()) {
                    assert_eq!(plain.get(bit), track.get(bit), "a mark's clock bits stay");
                }
            }
        }
        let fm = regenerate_clocks(Recording::Fm, &track, &[]).unwrap();
        assert!((0..fm.len()).step_by(2).all(|clock| fm.get(clock)));
        assert_eq!(first_outside(Recording::Fm, &fm), None);
    }
}

#[test]
fn a_streams_first_clock_bit_follows_the_data_bit_that_is_given() {
    for length in 1..100 {
        let data = random::bytes(length as u64, length);
        for before in BOTH {
            let expected = mfm(before, &data);
            let mut clockless = ChannelBits::new();
            mfm_fast::push_data_bits(&data, &mut clockless);
            assert!((0..clockless.len()).step_by(2).all(|clock| !clockless.get(clock)));
            let plain = regenerate_stream_clocks(Recording::Mfm, before, &clockless, &[]).unwrap();
            assert_eq!(plain, expected);
            let fast = mfm_fast::regenerate_stream_clocks(before, &clockless, &[]).unwrap();
            assert_eq!(fast, expected);
            // A stream cut in two is the same where the last data bit is carried over.
            let (head, tail) = data.split_at(length / 2);
            let mut joined = mfm(before, head);
            encode(Recording::Mfm, before.after(head), tail, &mut joined);
            assert_eq!(joined, expected);
        }
    }
}

#[test]
fn a_mark_cut_short_by_the_end_keeps_its_clocks_at_a_streams_end_and_over_a_tracks_wrap() {
    let bits = ChannelBits::from_bytes(&random::bytes(3, 8), 64);
    let marks = [56];
    for before in BOTH {
        let plain = regenerate_stream_clocks(Recording::Mfm, before, &bits, &marks).unwrap();
        assert_eq!(mfm_fast::regenerate_stream_clocks(before, &bits, &marks).unwrap(), plain);
        let without = regenerate_stream_clocks(Recording::Mfm, before, &bits, &[]).unwrap();
        assert_eq!(plain.window(0, 56), without.window(0, 56), "nothing is kept at the begin");
        assert_eq!(plain.window(56, 8), bits.window(56, 8));
    }
    let track = regenerate_clocks(Recording::Mfm, &bits, &marks).unwrap();
    assert_eq!(mfm_fast::regenerate_clocks(&bits, &marks).unwrap(), track);
    assert_eq!(track.window(0, 8), bits.window(0, 8));
    assert_eq!(track.window(56, 8), bits.window(56, 8));
}

#[test]
fn every_missing_and_every_surplus_clock_bit_is_named_and_none_else() {
    for length in 4..80 {
        let bytes = random::bytes(length as u64, length);
        let track = ChannelBits::from_bytes(&bytes, bytes.len() * 8);
        let mark = 16 * (length / 4);
        for recording in [Recording::Mfm, Recording::Fm] {
            // By definition: a clock bit of two zeros (MFM) or of any cell (FM), marks excepted.
            let expected: Vec<ClockFault> = (0..track.len())
                .step_by(2)
                .filter(|bit| *bit < mark || *bit >= mark + 16)
                .filter_map(|at_bit| {
                    let before = track.get((at_bit + track.len() - 1) % track.len());
                    let wanted = recording == Recording::Fm || (!before && !track.get(at_bit + 1));
                    let missing = wanted && !track.get(at_bit);
                    (wanted != track.get(at_bit)).then_some(ClockFault { at_bit, missing })
                })
                .collect();
            let found = clock_faults(recording, &track, &[mark]);
            if mark < track.len() {
                assert_eq!(found.unwrap(), expected, "{recording:?} {length}");
            } else {
                let channel_bits = track.len();
                assert_eq!(found, Err(ClockError::Mark { start_bit: mark, channel_bits }));
            }
        }
    }
}

#[test]
fn clocks_are_refused_where_there_are_no_whole_cells() {
    let odd = ChannelBits::zeros(15);
    let error = regenerate_clocks(Recording::Mfm, &odd, &[]).unwrap_err();
    assert_eq!(error, ClockError::HalfCell { channel_bits: 15 });
    let even = ChannelBits::zeros(16);
    for start_bit in [3, 16] {
        let error = mfm_fast::regenerate_clocks(&even, &[start_bit]).unwrap_err();
        assert_eq!(error, ClockError::Mark { start_bit, channel_bits: 16 });
        assert!(error.to_string().contains("below the track's length, 16"));
    }
}

#[test]
fn the_codes_make_these_intervals_and_no_others() {
    // By enumeration, all data of twelve bits. MFM in time, 2 to 4 channel bits: SFD-321B, 5.4.4.
    for (recording, expected) in [(Recording::Mfm, vec![2, 3, 4]), (Recording::Fm, vec![1, 2])] {
        let mut seen = BTreeSet::new();
        for data in 0..1_u16 << 12 {
            for before in BOTH {
                let mut bits = channel_bits(recording, before, &(data << 4).to_be_bytes());
                bits.truncate(24);
                seen.extend(inner_intervals(&bits));
            }
        }
        assert_eq!(Vec::from_iter(seen), expected);
        assert_eq!(Vec::from_iter(limits(recording)), expected);
    }
}

#[test]
fn marks_keep_the_run_limits() {
    // Fields: SA810/860 OEM manual, fig. 6-7 (MFM); FM clock bytes partly from memory.
    let a1 = sequence(&[Ok(0), Err(Mark::MFM_A1), Err(Mark::MFM_A1), Err(Mark::MFM_A1), Ok(0xfe)]);
    let c2 = sequence(&[Ok(0), Err(Mark::MFM_C2), Err(Mark::MFM_C2), Err(Mark::MFM_C2), Ok(0xfc)]);
    for bits in [a1, c2] {
        assert!(inner_intervals(&bits).iter().all(|interval| (2..=4).contains(interval)));
    }
    for mark in [Mark::FM_INDEX, Mark::FM_IDENTIFIER, Mark::FM_DATA, Mark::FM_DELETED_DATA] {
        for (before, after) in [(0x00, 0x00), (0xff, 0xff), (0x00, 0xff), (0xff, 0x00)] {
            let mut bits = channel_bits(Recording::Fm, Before::Zero, &[before]);
            bits.push(mark.channel_bits().into(), 16);
            encode(Recording::Fm, Before::Zero, &[after], &mut bits);
            assert!(inner_intervals(&bits).iter().all(|interval| (1..=2).contains(interval)));
        }
    }
}

#[test]
fn intervals_go_round_the_wrap() {
    let track = ChannelBits::from_bytes(&[0b0010_0100, 0b0100_0000], 12);
    let found: Vec<_> = intervals(&track).map(|i| (i.start_bit, i.channel_bits)).collect();
    assert_eq!(found, [(2, 3), (5, 4), (9, 5)]);
    let outside = first_outside(Recording::Mfm, &track).unwrap();
    assert_eq!((outside.start_bit, outside.channel_bits), (9, 5));
    assert_eq!(first_outside(Recording::Mfm, &ChannelBits::zeros(50)).unwrap().channel_bits, 50);
}

#[test]
fn intervals_that_were_asked_for_are_excepted_also_over_the_wrap() {
    for length in 1..70 {
        let bytes = random::bytes(900 + length as u64, length);
        let track: ChannelBits = bytes.iter().map(|byte| *byte < 90).collect();
        let ones: Vec<_> = (0..length).filter(|bit| track.get(*bit)).collect();
        assert_eq!(transitions(&track).collect::<Vec<_>>(), ones);
        let half = length / 2;
        for stretches in
            [&[][..], &[(3, 3)], &[(half, half + 4)], &[(length - 1, length + 3), (5, 6)]]
        {
            let stretch: Vec<_> = stretches.iter().map(|(from, to)| *from..*to).collect();
            let excepted = |bit: usize| {
                stretch.iter().any(|span| {
                    span.contains(&(bit % length)) || span.contains(&(bit % length + length))
                })
            };
            // From each one to the next, by walking.
            let mut expected = Vec::new();
            for one in &ones {
                let next = (one + 1..).find(|bit| track.get(bit % length)).unwrap();
                if !(2..=4).contains(&(next - one)) && !(*one..=next).any(excepted) {
                    expected.push((*one, next - one));
                }
            }
            if ones.is_empty() && !(0..length).any(excepted) {
                expected.push((0, length));
            }
            let found: Vec<_> = outside(Recording::Mfm, &track, &stretch)
                .map(|interval| (interval.start_bit, interval.channel_bits))
                .collect();
            assert_eq!(found, expected, "{track:?} {stretch:?}");
        }
    }
    assert_eq!(outside(Recording::Fm, &ChannelBits::new(), &[]).next(), None);
}

#[test]
fn no_legal_mfm_has_the_a1_mark_at_any_phase_and_the_c2_mark_only_half_a_cell_off() {
    // By enumeration: sixteen channel bits at either phase touch nine data bits and their
    // context, so two bytes in both contexts hold every window there is.
    let (mut pairs, mut first) = (0, None);
    for data in 0..=u16::MAX {
        for before in BOTH {
            let bits = mfm(before, &data.to_be_bytes());
            assert_eq!(places(&bits, 0x4489), []);
            let index_marks = places(&bits, 0x5224);
            assert!(index_marks.iter().all(|start| start % 2 == 1), "in phase in {data:04x}");
            if before == Before::Zero && !index_marks.is_empty() {
                pairs += 1;
                first.get_or_insert((data, index_marks));
            }
        }
    }
    assert_eq!(pairs, 1_024);
    assert_eq!(first, Some((0x0029, vec![15])));
}

#[test]
fn no_legal_fm_has_a_mark_at_any_phase() {
    // By enumeration, as above.
    for data in 0..=u16::MAX {
        let bits = channel_bits(Recording::Fm, Before::Zero, &data.to_be_bytes());
        for word in [0xf77a, 0xf57e, 0xf56f, 0xf56a, 0xf56b, 0xf56e] {
            assert_eq!(places(&bits, word), []);
        }
    }
}

#[test]
fn marks_are_found_at_their_bytes_alone_but_c2_also_before_a1() {
    // By enumeration over the fields of SA810/860 OEM manual, fig. 6-7.
    let [a1, c2] = [Mark::MFM_A1, Mark::MFM_C2].map(Err);
    let identifier = sequence(&[Ok(0), Ok(0), Ok(0), Ok(0), a1, a1, a1, Ok(0xfe)]);
    assert_eq!(places(&identifier, 0x4489), [64, 80, 96]);
    assert_eq!(places(&identifier, 0x5224), [64 - 5], "the junction of sync and A1");
    let index = sequence(&[Ok(0), Ok(0), Ok(0), Ok(0), c2, c2, c2, Ok(0xfc)]);
    assert_eq!(places(&index, 0x5224), [64, 80, 96]);
    assert_eq!(places(&index, 0x4489), []);
}

#[test]
fn some_followers_of_a_mark_forge_another() {
    // By enumeration over every byte before and after.
    let forgers = |mark: Mark, distance: usize| {
        let (mut followers, mut contexts) = (BTreeSet::new(), 0);
        for before in 0..=u8::MAX {
            for after in 0..=u8::MAX {
                let found = places(&sequence(&[Ok(before), Err(mark), Ok(after)]), 0x4489);
                if found.contains(&(16 + distance)) {
                    followers.insert(after);
                    contexts += 1;
                }
                assert!(found.iter().all(|start| [16, 16 + distance].contains(start)));
            }
        }
        (followers, contexts)
    };
    assert_eq!(forgers(Mark::MFM_A1, 7), ((0x40..=0x4f).collect(), 4_096));
    assert_eq!(forgers(Mark::MFM_C2, 5), ((0x80..=0x9f).collect(), 32 * 256));
}

#[test]
fn a_splice_of_two_legal_streams_can_forge_the_a1_mark() {
    // By enumeration: which heads and tails of 4489 are legal on either phase.
    let mut legal = BTreeSet::new();
    for data in 0..=u16::MAX {
        for before in BOTH {
            let bits = mfm(before, &data.to_be_bytes());
            for start in 0..2 {
                for count in 1..16 {
                    legal.insert((start, count, bits.window(start + 2, count)));
                }
            }
        }
    }
    let cuts = |slip: usize| {
        (1..16)
            .filter(|cut| {
                (0..2).any(|phase| {
                    let tail = (phase + cut + slip) % 2;
                    legal.contains(&(phase, *cut, 0x4489 >> (16 - cut)))
                        && legal.contains(&(tail, 16 - cut, 0x4489 & (0xffff >> cut)))
                })
            })
            .count()
    };
    assert_eq!(cuts(1), 9, "the splice slips half a cell");
    assert_eq!(cuts(0), 4, "in phase, the clock context broken at the cut");
}
