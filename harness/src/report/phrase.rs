//! The small phrases that all reports share: times, numbers, words, places.

use trackproof_contract::{
    Case, Direction, HostService, Operation, Profile, Service, Start, WriteSource,
};

/// Most words of a write that are spelt out.
const SHOWN_WORDS: usize = 8;

/// A time in microseconds, without needless zeros: `412.5 µs`; below one in nanoseconds.
pub(super) fn time(ns: u64) -> String {
    if (1..1_000).contains(&ns) { format!("{ns} ns") } else { format!("{} µs", micros(ns)) }
}

/// The number of microseconds alone.
pub(super) fn micros(ns: u64) -> String {
    let (whole, rest) = (ns / 1_000, ns % 1_000);
    let rest = format!("{rest:03}");
    match rest.trim_end_matches('0') {
        "" => grouped(whole),
        rest => format!("{}.{rest}", grouped(whole)),
    }
}

/// A number with its thousands apart: `20 000`.
#[must_use]
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// So many of a thing: `1 word`, `3 words`.
#[must_use]
pub fn count(number: u64, noun: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{} {noun}{plural}", grouped(number))
}

/// A word in hex, as wide as its bits.
pub(super) fn hex(word: u64, bits: u16) -> String {
    format!("{word:0width$x}", width = usize::from(bits).div_ceil(4))
}

/// Bits in groups of four.
pub(super) fn bits(word: u64, count: u16) -> String {
    grouped_by_four((0..count).rev().map(|bit| if word >> bit & 1 == 1 { '1' } else { '0' }))
}

/// Signs in groups of four.
pub(super) fn grouped_by_four(signs: impl Iterator<Item = char>) -> String {
    let mut text = String::new();
    for (place, sign) in signs.enumerate() {
        if place > 0 && place.is_multiple_of(4) {
            text.push(' ');
        }
        text.push(sign);
    }
    text
}

/// The drives of a line mask: `drive 0`, `drives 0 and 2`, `no drive`.
pub(super) fn drives(mask: u8) -> String {
    let numbers: Vec<String> =
        (0..8).filter(|drive| mask >> drive & 1 == 1).map(|drive| drive.to_string()).collect();
    match numbers.as_slice() {
        [] => "no drive".into(),
        [one] => format!("drive {one}"),
        [first @ .., last] => format!("drives {} and {last}", first.join(", ")),
    }
}

/// When a transfer begins.
pub(super) const fn start(start: Start) -> &'static str {
    match start {
        Start::Now => "starting at once",
        Start::Match => "starting at a match",
        Start::Index => "starting at the index",
    }
}

/// An operation in words.
pub(super) fn operation(operation: &Operation, profile: &Profile) -> String {
    match operation {
        Operation::Wait { ns } => format!("wait {}", time(*ns)),
        Operation::Select { mask } => format!("select {}", drives(*mask)),
        Operation::Motor { mask: 0 } => "motor off".into(),
        Operation::Motor { mask } => format!("motor on: {}", drives(*mask)),
        Operation::Side { side } => format!("side {side}"),
        Operation::Step { direction: Direction::In } => "step in, to a higher cylinder".into(),
        Operation::Step { direction: Direction::Out } => "step out, to a lower cylinder".into(),
        Operation::SyncWord { word } => format!("sync word {}", hex(*word, profile.register_bits)),
        Operation::HardwareSync { on: true } => "hardware sync on".into(),
        Operation::HardwareSync { on: false } => "hardware sync off".into(),
        Operation::Read { words, start: begin, service } => format!(
            "read {}, {}; {}",
            count(u64::from(*words), "word"),
            start(*begin),
            served(service, profile.service)
        ),
        Operation::Write { source, start: begin, service } => format!(
            "write {}, {}; {}",
            written(source, profile),
            start(*begin),
            served(service, profile.service)
        ),
        Operation::Abort => "abort".into(),
        Operation::PollStatus => "read the status".into(),
        Operation::PollByte => "read the byte port".into(),
        Operation::Output { value } => format!("unrelated output {value:02x}"),
        Operation::Reset => "reset".into(),
        // The enum may grow; its own name is better than no word.
        other => format!("{other:?}"),
    }
}

/// A transfer by its number among all requests, from 1: `read 1`, `write 2`.
pub(super) fn request(case: &Case, transfer: u32) -> String {
    let mut requests = case.program.iter().filter(|operation| operation.is_request());
    let what = match requests.nth(transfer as usize) {
        Some(Operation::Read { .. }) => "read",
        Some(Operation::Write { .. }) => "write",
        _ => "transfer",
    };
    format!("{what} {}", grouped(u64::from(transfer) + 1))
}

/// What a write sends: its words, as many as a person reads, or which words of which read.
fn written(source: &WriteSource, profile: &Profile) -> String {
    match source {
        WriteSource::Words(bits) => {
            let width = usize::from(profile.word_bits);
            let words = bits.len() / width.max(1);
            let mut text = count(words as u64, "word");
            for word in 0..words.min(SHOWN_WORDS) {
                let mark = if word == 0 { ":" } else { "" };
                let word = hex(bits.window(word * width, width), profile.word_bits);
                text.push_str(&format!("{mark} {word}"));
            }
            if words > SHOWN_WORDS {
                text.push_str(" …");
            }
            text
        }
        WriteSource::Copy { transfer, align, skip, count: words } => {
            let mut text = format!("{} of read {}", count(u64::from(*words), "word"), transfer + 1);
            if let Some(sync) = align {
                let sync = hex(*sync, profile.register_bits);
                text.push_str(&format!(", aligned to its first {sync}"));
            }
            if *skip > 0 {
                text.push_str(&format!(", without the first {}", count(u64::from(*skip), "word")));
            }
            text
        }
    }
}

/// When the host serves a transfer.
fn served(service: &HostService, rhythm: Service) -> String {
    let mut text = match rhythm {
        Service::PerWord => format!("served every {}", time(service.interval_ns)),
        Service::Slots { period_ns, count: each } => {
            format!("served {} every {}", count(u64::from(each), "time"), time(period_ns.into()))
        }
    };
    if service.first_ns > 0 {
        text.push_str(&format!(", first after {}", time(service.first_ns)));
    }
    for stall in &service.stalls {
        let end_ns = stall.from_ns.saturating_add(stall.length_ns);
        text.push_str(&format!(", not from {} to {}", micros(stall.from_ns), time(end_ns)));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::{bits, drives, grouped, hex, operation, time};
    use trackproof_contract::{
        ChannelBits, HostService, Operation, Profile, Service, Stall, Start, WriteSource,
    };

    #[test]
    fn times_numbers_and_masks_read_as_people_write_them() {
        assert_eq!(time(4_000), "4 µs");
        assert_eq!(time(412_500), "412.5 µs");
        assert_eq!(time(1), "1 ns");
        assert_eq!(time(200_000_000), "200 000 µs");
        assert_eq!([grouped(999), grouped(1_234)], ["999", "1 234"]);
        assert_eq!(hex(0x89, 16), "0089");
        assert_eq!(bits(0x89, 8), "1000 1001");
        assert_eq!(
            [drives(0), drives(2), drives(7)].join("; "),
            "no drive; drive 1; drives 0, 1 and 2"
        );
    }

    #[test]
    fn a_read_says_how_much_from_where_and_when_it_is_served() {
        let stalls = vec![Stall { from_ns: 10_000, length_ns: 20_000 }];
        let service = HostService { first_ns: 2_000, interval_ns: 4_000, stalls };
        let read = Operation::Read { words: 3, start: Start::Match, service };
        let mut profile = Profile::sync_dma();
        assert_eq!(
            operation(&read, &profile),
            "read 3 words, starting at a match; served every 4 µs, first after 2 µs, not from 10 \
             to 30 µs"
        );
        profile.service = Service::Slots { period_ns: 64_000, count: 3 };
        assert!(operation(&read, &profile).contains("served 3 times every 64 µs"));
    }

    #[test]
    fn a_write_says_what_it_sends() {
        let service = HostService { first_ns: 0, interval_ns: 4_000, stalls: Vec::new() };
        let told = |source| {
            let write = Operation::Write { source, start: Start::Index, service: service.clone() };
            operation(&write, &Profile::sync_dma())
        };
        let mut bits = ChannelBits::new();
        bits.push(0x4489_5554, 32);
        assert_eq!(
            told(WriteSource::Words(bits)),
            "write 2 words: 4489 5554, starting at the index; served every 4 µs"
        );
        assert!(told(WriteSource::Words(ChannelBits::zeros(160))).contains("10 words: 0000 "));
        assert!(told(WriteSource::Words(ChannelBits::zeros(160))).contains("0000 …, starting"));
        assert!(told(WriteSource::Words(ChannelBits::new())).starts_with("write 0 words, start"));
        let copy = WriteSource::Copy { transfer: 1, align: Some(0x4489), skip: 2, count: 5 };
        assert!(told(copy).starts_with(
            "write 5 words of read 2, aligned to its first 4489, without the first 2 words, start"
        ));
    }
}
