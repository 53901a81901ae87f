//! Plays: events at given times on the sample, and what came of them, in channel bits.

use trackproof_contract::{
    Action, Bench, ChangeClear, ChannelBits, DiskSubsystem, DriveBench, Event, Item, Medium,
    Observation, Profile, SectorLayout, Setup, Start, Status, Track,
};

/// A channel bit, in nanoseconds.
pub(crate) const T: u64 = 2_000;

/// Channel bits written as `0` and `1`; all else between them is there to be read.
pub(crate) fn bits(text: &str) -> ChannelBits {
    text.chars().filter(|c| "01".contains(*c)).map(|c| c == '1').collect()
}

/// Channel bits as text.
pub(crate) fn text(bits: &ChannelBits) -> String {
    (0..bits.len()).map(|at| if bits.get(at) { '1' } else { '0' }).collect()
}

/// Words of 16 bits as text.
pub(crate) fn words_text(words: &[u64]) -> String {
    words.iter().map(|word| format!("{word:016b}")).collect()
}

/// What is to be played.
pub(crate) struct Play {
    pub(crate) profile: Profile,
    pub(crate) drives: Vec<DriveBench>,
    pub(crate) tracks: Vec<Track>,
    faults: Vec<&'static str>,
    events: Vec<(u64, Action)>,
    words: Vec<Vec<u64>>,
}

/// What came of it.
pub(crate) struct Played {
    pub(crate) observation: Observation,
    pub(crate) tracks: Vec<Track>,
}

impl Play {
    /// A selected drive that turns, with a track of its own, whose cell 0 is under the head at 0.
    pub(crate) fn new(track: &str) -> Self {
        let mut play = Self {
            profile: Profile { slack_max: 2, ..Profile::sync_dma() },
            drives: Vec::new(),
            tracks: Vec::new(),
            faults: Vec::new(),
            events: vec![(0, Action::Select(1)), (0, Action::Motor(3))],
            words: Vec::new(),
        };
        let track = bits(track);
        play.drive(track.len() as u32);
        play.track(0, 0, Medium::image_bits(track));
        play
    }

    /// The same with an image of sectors.
    pub(crate) fn image(turn_bits: u32, layout: SectorLayout, sectors: &[u8]) -> Self {
        let mut play = Self::new(&"0".repeat(turn_bits as usize));
        let sectors = ChannelBits::from_bytes(sectors, sectors.len() * 8);
        play.tracks[0].medium = Medium::Image { layout, sectors };
        play
    }

    pub(crate) fn drive(&mut self, turn_bits: u32) {
        self.drives.push(DriveBench {
            turn_bits,
            start_bit: 0,
            cylinder: 0,
            write_protected: false,
            spin_up_ns: 0,
            change_clear: ChangeClear::Step,
        });
    }

    pub(crate) fn track(&mut self, drive: u8, side: u8, medium: Medium) {
        self.tracks.push(Track { drive, cylinder: 0, side, medium });
    }

    pub(crate) fn with(mut self, change: impl FnOnce(&mut Profile)) -> Self {
        change(&mut self.profile);
        self
    }

    pub(crate) fn faulty(mut self, fault: &'static str) -> Self {
        self.faults.push(fault);
        self
    }

    pub(crate) fn at(mut self, at_ns: u64, action: Action) -> Self {
        self.events.push((at_ns, action));
        self
    }

    /// A write, served from the request on every 16 channel bits, once more than it needs.
    pub(crate) fn write(self, at_ns: u64, start: Start, words: &[u64]) -> Self {
        let services: Vec<u64> = (0..=words.len() as u64).map(|n| n * 16 * T).collect();
        self.write_served(at_ns, start, words, &services)
    }

    /// A write with services at these times after the request.
    pub(crate) fn write_served(
        mut self,
        at_ns: u64,
        start: Start,
        words: &[u64],
        after: &[u64],
    ) -> Self {
        let transfer = self.words.len() as u32;
        self.words.push(words.to_vec());
        self.events.push((at_ns, Action::Write { transfer, start }));
        for after_ns in after {
            self.events.push((at_ns + after_ns, Action::Service { transfer }));
        }
        self
    }

    /// A read, each word served at once for `cells` channel bits.
    pub(crate) fn read(mut self, at_ns: u64, start: Start, words: u32, cells: u64) -> Self {
        let transfer = self.words.len() as u32;
        self.words.push(Vec::new());
        self.events.push((at_ns, Action::Read { transfer, words, start }));
        for cell in 0..cells {
            self.events.push((at_ns + cell * T, Action::Service { transfer }));
        }
        self
    }

    /// Plays it to this time.
    pub(crate) fn until(mut self, end_ns: u64) -> Played {
        self.events.retain(|event| event.0 <= end_ns);
        self.events.push((end_ns, Action::End));
        self.events.sort_by_key(|event| event.0);
        let sample = trackproof_samples::find("sync-dma").unwrap().open(&self.faults).unwrap();
        let mut subsystem = sample.create().unwrap();
        let bench = Bench { access_ns: 0, drives: self.drives };
        let setup = Setup { profile: &self.profile, bench: &bench, tracks: &self.tracks };
        subsystem.power_up(setup).unwrap();
        let mut observation = Observation::new();
        for (at_ns, action) in self.events {
            if let Action::Write { transfer, .. } = action {
                subsystem.give(transfer, &self.words[transfer as usize]).unwrap();
            }
            let event = Event { at_ns, action, operation: 0 };
            subsystem.run(&[event], &mut observation).unwrap();
        }
        for track in &mut self.tracks {
            subsystem.show(track).unwrap();
        }
        Played { observation, tracks: self.tracks }
    }
}

impl Played {
    /// A track as it is at the end.
    pub(crate) fn shown(&self, track: usize) -> String {
        text(self.tracks[track].medium.track())
    }

    /// An image's sectors at the end.
    pub(crate) fn sectors(&self) -> Vec<u8> {
        self.tracks[0].medium.track().to_bytes()
    }

    /// The times of the done signals, in nanoseconds.
    pub(crate) fn done(&self) -> Vec<u64> {
        let done = |item: &&trackproof_contract::Observed| item.item == Item::Done;
        self.observation.items.iter().filter(done).map(|seen| seen.at_ns).collect()
    }

    /// The answers of the status polls: done, busy, match.
    pub(crate) fn status(&self) -> Vec<(bool, bool, bool)> {
        let items = self.observation.items.iter();
        items
            .filter_map(|seen| match seen.item {
                Item::Status(status) => Some((
                    status.has(Status::DONE),
                    status.has(Status::BUSY),
                    status.has(Status::MATCH),
                )),
                _ => None,
            })
            .collect()
    }

    /// The words of a read.
    pub(crate) fn words(&self, transfer: u32) -> Vec<u64> {
        self.observation.delivered(transfer, self.observation.items.len()).collect()
    }
}

/// A turn with these bits laid over it from a cell on.
pub(crate) fn over(turn: &str, from: usize, written: &str) -> String {
    let mut cells: Vec<char> = turn.chars().collect();
    let turn_bits = cells.len();
    for (n, bit) in written.chars().enumerate() {
        cells[(from + n) % turn_bits] = bit;
    }
    cells.into_iter().collect()
}
