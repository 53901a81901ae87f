//! A case in which what stands on the medium tells what was written there: the words are numbered,
//! no write comes round to where it began, and all come to their end. In a small case of zeros a
//! lost word looks like a late one, and on a short turn a word too many like an early one. Of an
//! image the whole stream is read: one word of a wrong check may be wrong in its clock bits alone.

use trackproof_contract::{
    Case, ChannelBits, HostService, Medium, Operation, Start, Track, WriteSource, WriteUnit,
};

/// The first number; with a 1 in its highest bit, that a shift by any number of bits shows.
const FIRST: u64 = 0x90;

/// Numbers from the first one on that have their highest bit.
const NUMBERS: u64 = 0x70;

/// Words by which a turn is longer than all that is written.
const TURN_WORDS: usize = 4;

/// Channel bits of a check of two bytes.
const CHECK_CELLS: u32 = 32;

/// The case made telling; none where it is so already, or cannot be.
pub(crate) fn telling(case: &Case) -> Option<Case> {
    let mut changed = case.clone();
    let words = number_words(&mut changed);
    // Once more for words that are laid twice, and for what waits for a word.
    let bits = 2 * (words + TURN_WORDS) * usize::from(case.profile.word_bits);
    turn_slowly(&mut changed, bits);
    // What is still being written comes to its end.
    let rest_ns = (bits / 2) as u64 * u64::from(case.profile.channel_bit_ns);
    if words > 0
        && !matches!(changed.program.last(), Some(Operation::Wait { ns }) if *ns >= rest_ns)
    {
        changed.program.push(Operation::Wait { ns: rest_ns });
    }
    (changed != *case && changed.validate().is_ok()).then_some(changed)
}

/// Numbers the words that are given to write; says how many words may be written in all.
fn number_words(case: &mut Case) -> usize {
    let width = usize::from(case.profile.word_bits);
    let half = width / 2;
    let (mut number, mut copied) = (0, 0);
    for operation in &mut case.program {
        let words = match operation {
            Operation::Write { source: WriteSource::Words(words), .. } => words,
            Operation::Write { source: WriteSource::Copy { count, .. }, .. } => {
                copied += *count as usize;
                continue;
            }
            _ => continue,
        };
        let mut bits = ChannelBits::new();
        while bits.len() < words.len() {
            let count = width.min(words.len() - bits.len());
            let low = FIRST + number % NUMBERS;
            // The other half has the number's opposite, or the marks of data bytes, which stay.
            let high = match case.profile.write_unit {
                WriteUnit::ChannelWords => !low << half,
                WriteUnit::DataBytes => words.window(bits.len(), count) >> half << half,
            };
            let low = low & mask(half);
            bits.push((high | low) & mask(count), count);
            number += 1;
        }
        *words = bits;
    }
    number as usize + copied
}

/// Lengthens every turn to so many bits, but those of images, whose layouts set it.
fn turn_slowly(case: &mut Case, bits: usize) {
    if case.tracks.iter().any(|track| track.medium.layout().is_some()) {
        return;
    }
    let longest = case.bench.drives.iter().map(|drive| drive.turn_bits as usize).max();
    let bits = bits.max(longest.unwrap_or(0));
    for drive in &mut case.bench.drives {
        drive.turn_bits = bits as u32;
    }
    for track in &mut case.tracks {
        if let Medium::ChannelBits { track, .. } = &mut track.medium {
            while track.len() < bits {
                track.push(0, (bits - track.len()).min(64));
            }
        }
    }
}

/// A turn of an image's stream, read word by word without a match.
pub(crate) fn image_stream(case: &Case, track: &Track) -> Option<Case> {
    track.medium.layout()?;
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    let mut read = case.clone();
    let drive = read.bench.drives.get_mut(usize::from(track.drive))?;
    // Words and the bytes of the layout coincide. A check may stand right before the index, and the
    // first clock bit behind a wrong one is wrong as well: so the check comes first.
    let start_bit = (drive.turn_bits - CHECK_CELLS % drive.turn_bits) % drive.turn_bits;
    (drive.cylinder, drive.start_bit, drive.spin_up_ns) = (track.cylinder, start_bit, 0);
    let read_bits = drive.turn_bits + CHECK_CELLS;
    let words = read_bits.div_ceil(u32::from(case.profile.word_bits)) + 1;
    let mask = 1 << track.drive;
    read.program = vec![Operation::Select { mask }, Operation::Motor { mask }];
    if track.side != 0 {
        read.program.push(Operation::Side { side: track.side });
    }
    let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    read.program.push(Operation::Read { words, start: Start::Now, service });
    let word_ns = u64::from(case.profile.word_bits) * bit_ns;
    read.program.push(Operation::Wait { ns: u64::from(read_bits) * bit_ns + 2 * word_ns });
    Some(read)
}

const fn mask(bits: usize) -> u64 {
    if bits >= 64 { u64::MAX } else { (1 << bits) - 1 }
}

#[cfg(test)]
mod tests {
    use super::telling;
    use trackproof_contract::{
        Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Operation, Profile, Start,
        WriteSource, WriteUnit,
    };

    fn numbers(profile: Profile, words: &[u64]) -> Vec<u64> {
        let width = usize::from(profile.word_bits);
        let mut bits = ChannelBits::new();
        words.iter().for_each(|word| bits.push(*word, width));
        let source = WriteSource::Words(bits);
        let service = HostService { first_ns: 0, interval_ns: 2_000, stalls: Vec::new() };
        let drive = DriveBench {
            turn_bits: 1,
            start_bit: 0,
            cylinder: 0,
            write_protected: false,
            spin_up_ns: 0,
            change_clear: ChangeClear::Step,
        };
        let program = vec![Operation::Write { source, start: Start::Now, service }];
        let case = Case {
            profile,
            bench: Bench { access_ns: 0, drives: vec![drive] },
            tracks: Vec::new(),
            program,
            flux: None,
        };
        let changed = telling(&case).expect("words that can be numbered");
        let Some(Operation::Write { source: WriteSource::Words(bits), .. }) =
            changed.program.first()
        else {
            panic!("another program");
        };
        (0..words.len()).map(|word| bits.window(word * width, width)).collect()
    }

    #[test]
    fn every_word_has_a_number_of_its_own() {
        assert_eq!(numbers(Profile::sync_dma(), &[0, 0, 0xffff]), [0x6f90, 0x6e91, 0x6d92]);
    }

    #[test]
    fn marks_stay_where_words_are_data() {
        let mut profile = Profile::sync_dma();
        profile.write_unit = WriteUnit::DataBytes;
        assert_eq!(numbers(profile, &[0x0ea1, 0x0000]), [0x0e90, 0x0091]);
    }
}
