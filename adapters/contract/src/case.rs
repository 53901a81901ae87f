//! A case: everything that an execution depends on, as one value.

use crate::{
    Bench, Capabilities, Capability, ChannelBits, Flux, MAX_CYLINDER, MAX_DRIVES, MAX_EVENTS,
    MAX_OPERATIONS, MAX_PROGRAM_NS, MAX_STALLS, MAX_TRACK_BITS, MAX_TRACKS, Medium, Operation,
    Profile, Recording, SectorLayout, Service, Start, Track, WriteSource,
};
use std::fmt;

/// A whole case: what the controller chooses, what surrounds it, what is recorded, what the host
/// does. The same case gives the same execution everywhere.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Case {
    /// What the controller chooses.
    pub profile: Profile,
    /// What surrounds it.
    pub bench: Bench,
    /// What is recorded.
    pub tracks: Vec<Track>,
    /// What the host does, in order.
    pub program: Vec<Operation>,
    /// The flux that passes, where a part is asked that makes channel bits of it. Then that is all:
    /// there are no drives and no tracks, and the host does nothing.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Option::is_none"))]
    pub flux: Option<Flux>,
}

/// Why a case is none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CaseError {
    /// Where: `program[3]`, `bench.drives[0].start_bit`, …
    pub place: String,
    /// What is there, and the limit.
    pub why: String,
}

impl fmt::Display for CaseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.why)
    }
}

impl std::error::Error for CaseError {}

impl Case {
    /// Checks every limit.
    ///
    /// # Errors
    /// The first place that breaks one.
    pub fn validate(&self) -> Result<(), CaseError> {
        fn check(
            ok: bool,
            place: impl Fn() -> String,
            why: impl Fn() -> String,
        ) -> Result<(), CaseError> {
            if ok { Ok(()) } else { Err(CaseError { place: place(), why: why() }) }
        }
        self.profile
            .validate()
            .map_err(|error| CaseError { place: "profile".into(), why: error.to_string() })?;
        if let Some(flux) = &self.flux {
            let (drives, tracks) = (self.bench.drives.len(), self.tracks.len());
            let operations = self.program.len();
            check(
                drives == 0 && tracks == 0 && operations == 0,
                || "flux".into(),
                || {
                    format!(
                        "beside it {drives} drives, {tracks} tracks and {operations} operations; \
                         flux stands alone"
                    )
                },
            )?;
            return flux.validate();
        }
        let drives = &self.bench.drives;
        check(
            (1..=MAX_DRIVES).contains(&drives.len()),
            || "bench.drives".into(),
            || format!("{} drives, the limits are 1 and {MAX_DRIVES}", drives.len()),
        )?;
        for (i, drive) in drives.iter().enumerate() {
            let place = |field: &str| format!("bench.drives[{i}].{field}");
            check(
                (1..=MAX_TRACK_BITS as u32).contains(&drive.turn_bits),
                || place("turn_bits"),
                || format!("{}, the limits are 1 and {MAX_TRACK_BITS}", drive.turn_bits),
            )?;
            check(
                drive.start_bit < drive.turn_bits,
                || place("start_bit"),
                || format!("{}, but a turn has {} bits", drive.start_bit, drive.turn_bits),
            )?;
            check(
                drive.cylinder <= MAX_CYLINDER,
                || place("cylinder"),
                || format!("{}, the limit is {MAX_CYLINDER}", drive.cylinder),
            )?;
            check(
                drive.spin_up_ns <= MAX_PROGRAM_NS,
                || place("spin_up_ns"),
                || format!("{}, the limit is {MAX_PROGRAM_NS}", drive.spin_up_ns),
            )?;
        }
        check(
            self.tracks.len() <= MAX_TRACKS,
            || "tracks".into(),
            || format!("{} tracks, the limit is {MAX_TRACKS}", self.tracks.len()),
        )?;
        for (i, track) in self.tracks.iter().enumerate() {
            let place = || format!("tracks[{i}]");
            let Some(drive) = drives.get(usize::from(track.drive)) else {
                let why = format!("drive {}, but the bench has {}", track.drive, drives.len());
                return Err(CaseError { place: place(), why });
            };
            check(track.cylinder <= MAX_CYLINDER && track.side <= 1, place, || {
                format!(
                    "cylinder {} side {}, the limits are {MAX_CYLINDER} and 1",
                    track.cylinder, track.side
                )
            })?;
            match &track.medium {
                Medium::ChannelBits { track: bits, .. } => {
                    check(bits.len() == drive.turn_bits as usize, place, || {
                        format!(
                            "{} channel bits, but drive {} has {} a turn",
                            bits.len(),
                            track.drive,
                            drive.turn_bits
                        )
                    })?;
                }
                Medium::Image { layout, sectors } => {
                    self.check_image(layout, sectors, drive.turn_bits as usize)
                        .map_err(|why| CaseError { place: place(), why })?;
                }
            }
            let same = |other: &Track| {
                (other.drive, other.cylinder, other.side)
                    == (track.drive, track.cylinder, track.side)
            };
            check(!self.tracks[..i].iter().any(same), place, || {
                format!(
                    "drive {} cylinder {} side {} twice",
                    track.drive, track.cylinder, track.side
                )
            })?;
        }
        check(
            self.program.len() <= MAX_OPERATIONS,
            || "program".into(),
            || format!("{} operations, the limit is {MAX_OPERATIONS}", self.program.len()),
        )?;
        let mut now_ns = 0_u64;
        for (i, operation) in self.program.iter().enumerate() {
            let place = || format!("program[{i}]");
            match operation {
                Operation::Select { mask } | Operation::Motor { mask } => {
                    check(u32::from(*mask) < 1 << drives.len(), place, || {
                        format!(
                            "mask {mask:#x} names a drive that the bench of {} has not",
                            drives.len()
                        )
                    })?
                }
                Operation::Side { side } => {
                    check(*side <= 1, place, || format!("side {side}, it must be 0 or 1"))?;
                }
                Operation::SyncWord { word } => {
                    check(word >> 1 >> (self.profile.register_bits - 1) == 0, place, || {
                        format!(
                            "sync word {word:x} is wider than {} bits",
                            self.profile.register_bits
                        )
                    })?
                }
                Operation::Read { words, .. } => {
                    check(*words <= self.profile.max_words, place, || {
                        format!(
                            "{words} words, the profile's `max_words` is {}",
                            self.profile.max_words
                        )
                    })?;
                }
                Operation::Write { source, .. } => self
                    .check_source(source, &self.program[..i])
                    .map_err(|why| CaseError { place: place(), why })?,
                _ => {}
            }
            if let Some(service) = operation.service() {
                check(service.interval_ns >= 1, place, || {
                    "interval_ns is 0, it must be at least 1".into()
                })?;
                check(service.stalls.len() <= MAX_STALLS, place, || {
                    format!("{} stalls, the limit is {MAX_STALLS}", service.stalls.len())
                })?;
                let late = |ns: u64| ns > MAX_PROGRAM_NS;
                check(
                    !late(service.first_ns)
                        && !late(service.interval_ns)
                        && !service.stalls.iter().any(|s| late(s.from_ns) || late(s.length_ns)),
                    place,
                    || format!("a service time over the limit of {MAX_PROGRAM_NS} ns"),
                )?;
            }
            if let Operation::Select { mask } = operation {
                check(mask.count_ones() <= 1, place, || {
                    format!("select mask {mask:#x} names more than one drive")
                })?;
            }
            now_ns = now_ns.saturating_add(self.duration_ns(operation));
            check(now_ns <= MAX_PROGRAM_NS, place, || {
                format!("the program lasts over {MAX_PROGRAM_NS} ns")
            })?;
        }
        let events = self.count_events(now_ns);
        check(
            events <= MAX_EVENTS as u64,
            || "program".into(),
            || format!("{events} events with all services, the limit is {MAX_EVENTS}"),
        )
    }

    /// What is wrong with an image-backed track.
    fn check_image(
        &self,
        layout: &SectorLayout,
        sectors: &ChannelBits,
        turn_bits: usize,
    ) -> Result<(), String> {
        if self.profile.recording != Recording::Mfm {
            return Err("an image's stream is MFM, the profile's recording is not".into());
        }
        if layout.sectors() == 0 || layout.sector_bytes() == 0 {
            return Err("an image of no sectors or of empty ones; there must be at least 1".into());
        }
        if matches!(layout, SectorLayout::SoftSector { size_code: 7.., .. }) {
            return Err("`size_code` is over 6, the limit".into());
        }
        if !layout.sector_bytes().is_multiple_of(2) {
            return Err(format!("sectors of {} bytes have no halves", layout.sector_bytes()));
        }
        let bits = layout.sectors() * layout.sector_bytes() * 8;
        if sectors.len() != bits {
            return Err(format!("{} data bits, but the layout has {bits}", sectors.len()));
        }
        let used = layout.used_bits();
        if used > turn_bits {
            return Err(format!("the layout takes {used} channel bits, a turn has {turn_bits}"));
        }
        if !turn_bits.is_multiple_of(16) {
            return Err(format!("a turn of {turn_bits} channel bits; an image's is whole bytes"));
        }
        Ok(())
    }

    /// What is wrong with the source of a write that stands behind `earlier`.
    fn check_source(&self, source: &WriteSource, earlier: &[Operation]) -> Result<(), String> {
        let max_words = self.profile.max_words;
        let count = match source {
            WriteSource::Words(bits) => {
                let word_bits = usize::from(self.profile.word_bits);
                if !bits.len().is_multiple_of(word_bits) {
                    return Err(format!(
                        "{} bits to write, not a whole number of words of {word_bits}",
                        bits.len()
                    ));
                }
                bits.len() / word_bits
            }
            WriteSource::Copy { transfer, align, count, .. } => {
                let wide = |word: u64| word >> 1 >> (self.profile.register_bits - 1) != 0;
                if let Some(word) = align.filter(|word| wide(*word)) {
                    let bits = self.profile.register_bits;
                    return Err(format!("`align` {word:x} is wider than {bits} bits"));
                }
                let of = earlier.iter().filter(|one| one.is_request()).nth(*transfer as usize);
                if !matches!(of, Some(Operation::Read { .. })) {
                    return Err(format!("copies transfer {transfer}, which is no earlier read"));
                }
                *count as usize
            }
        };
        if count > max_words as usize {
            return Err(format!("{count} words, the profile's `max_words` is {max_words}"));
        }
        Ok(())
    }

    /// How long the host is at an operation, in nanoseconds.
    #[must_use]
    pub fn duration_ns(&self, operation: &Operation) -> u64 {
        match operation {
            Operation::Wait { ns } => *ns,
            _ => u64::from(self.bench.access_ns),
        }
    }

    /// How long the program lasts, in nanoseconds; valid cases keep it under the limit.
    #[must_use]
    pub fn end_ns(&self) -> u64 {
        self.program.iter().fold(0, |ns, op| ns.saturating_add(self.duration_ns(op)))
    }

    /// How many events the timeline has, stalls not taken off.
    fn count_events(&self, end_ns: u64) -> u64 {
        let mut now_ns = 0_u64;
        let mut events = 1_u64;
        for operation in &self.program {
            events = events.saturating_add(1);
            if let Some(service) = operation.service() {
                let left = end_ns.saturating_sub(now_ns.saturating_add(service.first_ns));
                let (interval, each) = match self.profile.service {
                    Service::PerWord => (service.interval_ns, 1),
                    Service::Slots { period_ns, count } => (u64::from(period_ns), u64::from(count)),
                };
                events = events.saturating_add((left / interval.max(1) + 1).saturating_mul(each));
            }
            now_ns = now_ns.saturating_add(self.duration_ns(operation));
        }
        events
    }

    /// Whether the case asks for nothing but what a harness lends to a part of a controller; never
    /// where nothing is lent. Such a case says nothing about the part.
    #[must_use]
    pub fn asks_only(&self, lent: Capabilities) -> bool {
        !lent.is_empty() && self.needs().minus(lent).is_empty()
    }

    /// What an implementation must be able to do to run the case at all.
    #[must_use]
    pub fn needs(&self) -> Capabilities {
        let mut needs = Capabilities::NONE;
        if self.flux.is_some() {
            needs = needs.with(Capability::Separator);
        }
        if self.tracks.iter().any(|track| track.medium.layout().is_some()) {
            needs = needs.with(Capability::ImageDrives);
        }
        for operation in &self.program {
            let one = match operation {
                Operation::Wait { .. } | Operation::Motor { .. } | Operation::PollStatus => {
                    continue;
                }
                Operation::Select { mask } if *mask <= 1 => continue,
                Operation::Side { side: 0 } => continue,
                Operation::Select { .. } => Capability::Drives,
                Operation::Side { .. } => Capability::Sides,
                Operation::Step { .. } => Capability::Step,
                Operation::SyncWord { .. } => Capability::SyncWord,
                Operation::HardwareSync { .. } => Capability::HardwareSync,
                Operation::Read { start: Start::Now, .. } => Capability::Read,
                Operation::Read { start: Start::Match, .. } => Capability::HardwareSync,
                Operation::Read { start: Start::Index, .. } => Capability::IndexStart,
                Operation::Write { start, .. } => {
                    match start {
                        Start::Now => {}
                        Start::Match => needs = needs.with(Capability::HardwareSync),
                        Start::Index => needs = needs.with(Capability::IndexStart),
                    }
                    Capability::Write
                }
                Operation::Abort => Capability::Abort,
                Operation::PollByte => Capability::BytePort,
                Operation::Output { .. } => Capability::UnrelatedOutput,
                Operation::Reset => Capability::Reset,
            };
            needs = needs.with(one);
        }
        needs
    }

    /// The recorded track at a place, if the case has one.
    #[must_use]
    pub fn track(&self, drive: u8, cylinder: u8, side: u8) -> Option<&Track> {
        self.tracks
            .iter()
            .find(|track| (track.drive, track.cylinder, track.side) == (drive, cylinder, side))
    }
}
