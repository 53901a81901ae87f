//! The profile: what a controller is free to choose, each choice by name.
//!
//! A choice is never an `if` on an implementation's name: whoever builds a controller states its
//! choices here, and model and generator follow. What each key means stands in
//! `profiles/*.toml` beside this crate, a sentence a key; a test holds texts and code equal.
//! Keys are numbered for the C ABI: append, never renumber.

mod value;

pub use value::*;
use value::{Hex, Value};

use std::fmt;

/// One key of a [`Profile`]: its name and how its value is read and written.
#[derive(Clone, Copy)]
pub struct Key {
    /// The name in TOML files and reports.
    pub name: &'static str,
    text: fn(&Profile) -> String,
    set_text: fn(&mut Profile, &str) -> bool,
    code: fn(&Profile) -> i64,
    set_code: fn(&mut Profile, i64) -> bool,
    allowed: fn() -> String,
}

impl Key {
    /// The value as text, as in a profile's file.
    #[must_use]
    pub fn text(&self, profile: &Profile) -> String {
        (self.text)(profile)
    }

    /// The value as a number of the C ABI.
    #[must_use]
    pub fn code(&self, profile: &Profile) -> i64 {
        (self.code)(profile)
    }

    /// The values there are, in words.
    #[must_use]
    pub fn allowed(&self) -> String {
        (self.allowed)()
    }

    /// Sets the value from its text.
    ///
    /// # Errors
    /// [`ProfileError::Value`] when the key has no such value.
    pub fn set_text(&self, profile: &mut Profile, text: &str) -> Result<(), ProfileError> {
        if (self.set_text)(profile, text) {
            return Ok(());
        }
        Err(ProfileError::Value { key: self.name, value: text.into(), allowed: self.allowed() })
    }

    /// Sets the value from its number in the C ABI.
    ///
    /// # Errors
    /// [`ProfileError::Value`] when the key has no such value.
    pub fn set_code(&self, profile: &mut Profile, code: i64) -> Result<(), ProfileError> {
        if (self.set_code)(profile, code) {
            return Ok(());
        }
        Err(ProfileError::Value {
            key: self.name,
            value: code.to_string(),
            allowed: self.allowed(),
        })
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

/// Why a profile is none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ProfileError {
    /// A key that does not exist.
    Key {
        /// The name as given.
        name: String,
    },
    /// A value that its key does not have.
    Value {
        /// The key.
        key: &'static str,
        /// The value as given.
        value: String,
        /// The values there are.
        allowed: String,
    },
    /// Values that are right each by itself and impossible together.
    Together {
        /// What does not go together, and the limit.
        why: String,
    },
}

impl fmt::Display for ProfileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Key { name } => write!(
                f,
                "profile key `{name}` does not exist; the keys are {}",
                KEYS.iter().map(|key| key.name).collect::<Vec<_>>().join(", ")
            ),
            Self::Value { key, value, allowed } => {
                write!(f, "profile key `{key}` cannot be `{value}`; it takes {allowed}")
            }
            Self::Together { why } => write!(f, "profile: {why}"),
        }
    }
}

impl std::error::Error for ProfileError {}

macro_rules! profile {
    ($($(#[$doc:meta])* $key:ident: $ty:ty $(as $wrap:ident)? = $sync_dma:expr, $byte_stream:expr;)+) => {
        /// What one controller chooses.
        ///
        /// Each field is a key of the profile's file; what it means stands there.
        #[derive(Debug, Clone, PartialEq, Eq, Hash)]
        pub struct Profile {
            $($(#[$doc])* pub $key: $ty,)+
        }

        impl Profile {
            /// 16-bit words by bus mastering, with hardware sync.
            #[must_use]
            pub fn sync_dma() -> Self {
                Self { $($key: $sync_dma,)+ }
            }

            /// 8 data bits at a time, polled: a raw byte poller, no address-mark controller.
            #[must_use]
            pub fn byte_stream() -> Self {
                Self { $($key: $byte_stream,)+ }
            }
        }

        /// Every key, in the order of its number in the C ABI.
        pub static KEYS: &[Key] = &[$(
            Key {
                name: stringify!($key),
                text: |profile| profile!(@get profile $key $($wrap)?).text(),
                set_text: |profile, text| {
                    profile!(@set profile $key $ty, Value::from_text(text) $(, $wrap)?)
                },
                code: |profile| profile!(@get profile $key $($wrap)?).code(),
                set_code: |profile, code| {
                    profile!(@set profile $key $ty, Value::from_code(code) $(, $wrap)?)
                },
                allowed: profile!(@allowed $ty $(, $wrap)?),
            },
        )+];
    };
    (@get $profile:ident $key:ident) => { $profile.$key };
    (@get $profile:ident $key:ident $wrap:ident) => { $wrap($profile.$key) };
    (@set $profile:ident $key:ident $ty:ty, $value:expr) => {{
        let value: Option<$ty> = $value;
        value.map(|value| $profile.$key = value).is_some()
    }};
    (@set $profile:ident $key:ident $ty:ty, $value:expr, $wrap:ident) => {{
        let value: Option<$wrap> = $value;
        value.map(|value| $profile.$key = value.0).is_some()
    }};
    (@allowed $ty:ty) => { <$ty as Value>::allowed };
    (@allowed $ty:ty, $wrap:ident) => { <$wrap as Value>::allowed };
}

profile! {
    /// The code on the track.
    recording: Recording = Recording::Mfm, Recording::Mfm;
    /// T: nominal time of a channel bit, in nanoseconds.
    channel_bit_ns: u32 = 2_000, 2_000;
    /// R: width of shift register and sync word, in channel bits.
    register_bits: u16 = 16, 16;
    /// W: channel bits of a delivered word.
    word_bits: u16 = 16, 16;
    /// Which bits of the register are compared with the sync word.
    sync_mask: u64 as Hex = 0xffff, 0xffff;
    /// Whether the starting word is the first.
    start_match: StartMatch = StartMatch::Drop, StartMatch::Deliver;
    /// What an aligned match is.
    aligned_match: AlignedMatch = AlignedMatch::Word, AlignedMatch::Word;
    /// What a misaligned match does.
    misaligned_match: MisalignedMatch =
        MisalignedMatch::RealignDrop, MisalignedMatch::RealignDeliver;
    /// What becomes of a partial word.
    partial: Partial = Partial::Drop, Partial::Drop;
    /// Which misaligned matches realign.
    realign: Realign = Realign::Every, Realign::Every;
    /// Channel bits after a match in which none is made.
    refractory: u16 = 0, 0;
    /// Earliest acceptance of a request, in channel bits after it.
    slack_min: u16 = 0, 0;
    /// Latest acceptance of a request, in channel bits after it.
    slack_max: u16 = 1, 1;
    /// Where a raw read begins.
    counter: Counter = Counter::FreeRunning, Counter::ZeroedAtStart;
    /// Words from before a transfer that it may deliver.
    latch_words: u16 = 0, 0;
    /// Whether the match flag shows while hardware sync is off.
    flag_when_off: YesNo = YesNo::No, YesNo::Yes;
    /// Whether a new sync word takes effect as one.
    sync_write: SyncWrite = SyncWrite::Whole, SyncWrite::Whole;
    /// Hardware sync switched on in a running raw read.
    sync_on_live: SyncOnLive = SyncOnLive::Realign, SyncOnLive::NextTransfer;
    /// Hardware sync switched off while a read waits.
    sync_off_waiting: SyncOffWaiting = SyncOffWaiting::Start, SyncOffWaiting::Wait;
    /// How a match shows.
    flag: MatchFlag = MatchFlag::Level, MatchFlag::LatchedClearOnRead;
    /// Time around an edge in which a poll may see either side, in nanoseconds.
    poll_jitter: u32 = 100, 100;
    /// Whether bits of two sources may match.
    straddle: Straddle = Straddle::No, Straddle::No;
    /// Whether the byte port exists.
    byte_port: BytePort = YesNo::Yes, YesNo::Yes;
    /// What a byte is.
    byte: ByteUnit = ByteUnit::Channel8, ByteUnit::Data8;
    /// D: words that the FIFO holds.
    fifo_words: u16 = 3, 1;
    /// A full FIFO.
    overrun: Overrun = Overrun::LoseNew, Overrun::LoseOld;
    /// An empty FIFO while writing.
    underrun: Underrun = Underrun::Zeros, Underrun::CloseGate;
    /// How lost words are reported.
    error_flag: ErrorFlag = ErrorFlag::Sticky, ErrorFlag::PerTransfer;
    /// How the host gives service.
    service: Service = Service::PerWord, Service::PerWord;
    /// When a read is done.
    read_done: ReadDone = ReadDone::LastStored, ReadDone::LastCompleted;
    /// When a write is done.
    write_done: WriteDone = WriteDone::GateOff, WriteDone::LastBit;
    /// Latest completion signal after its event, in channel bits.
    done_latency: u16 = 2, 2;
    /// A request while busy.
    start_busy: StartBusy = StartBusy::Ignore, StartBusy::Error;
    /// A request for no words.
    zero_words: ZeroWords = ZeroWords::None, ZeroWords::None;
    /// The longest transfer, in words.
    max_words: u32 = 65_535, 65_535;
    /// Whether reads continue one stream.
    read_join: YesNo = YesNo::No, YesNo::No;
    /// Whether writes continue one stream.
    write_join: YesNo = YesNo::No, YesNo::Yes;
    /// Longest time from an abort to the gate's closing, in channel bits.
    abort_to_gate: u16 = 1, 1;
    /// Whether reset clears the shift register.
    reset_clears_register: YesNo = YesNo::No, YesNo::Yes;
    /// What is read while no drive gives data.
    no_drive_read: NoDriveRead = NoDriveRead::Zeros, NoDriveRead::Zeros;
    /// Whether written words are channel bits or data with marks.
    write_unit: WriteUnit = WriteUnit::ChannelWords, WriteUnit::DataBytes;
    /// The data bit before a write's first, for the first clock bit.
    first_context: FirstContext = FirstContext::Zero, FirstContext::Last;
    /// Channel bits from the gate's opening to the first written one.
    gate_lead: u16 = 0, 0;
    /// Channel bits from a match to the first written one.
    match_to_write: u16 = 0, 16;
    /// How far that may be off, in channel bits.
    match_jitter: u16 = 1, 1;
    /// The edge of the index that starts a write.
    index_edge: IndexEdge = IndexEdge::Leading, IndexEdge::Leading;
    /// Channel bits at a write's end that it loses.
    lost_tail: u16 = 0, 0;
    /// Whether a pulse more follows the last one.
    tail_pulse: YesNo = YesNo::No, YesNo::No;
    /// Earliest closing of the gate after the last bit, in channel bits.
    gate_off_min: u16 = 0, 0;
    /// Latest closing of the gate after the last bit, in channel bits.
    gate_off_max: u16 = 1, 1;
    /// Where a write's two ends leave the medium open.
    splice_guard: SpliceGuard = SpliceGuard::EVEN, SpliceGuard::EVEN;
    /// Whether the controller looks at write protect before it writes.
    checks_protect: YesNo = YesNo::No, YesNo::Yes;
    /// How far from a cell's centre a transition may be, in percent of half a channel bit.
    window: u16 = 60, 60;
    /// How much the cells' length may change over 64 bit cells, in percent.
    rate_limit: u16 = 12, 12;
    /// Channel bits of flux after which what a separator gives is right.
    lock_bits: u16 = 96, 96;
}

impl Profile {
    /// The names of the built-in profiles.
    pub const BUILT_IN: [&'static str; 2] = ["sync-dma", "byte-stream"];

    /// The built-in profile of that name.
    #[must_use]
    pub fn built_in(name: &str) -> Option<Self> {
        match name {
            "sync-dma" => Some(Self::sync_dma()),
            "byte-stream" => Some(Self::byte_stream()),
            _ => None,
        }
    }

    /// The key of that name.
    ///
    /// # Errors
    /// [`ProfileError::Key`] when there is none.
    pub fn key(name: &str) -> Result<&'static Key, ProfileError> {
        KEYS.iter()
            .find(|key| key.name == name)
            .ok_or_else(|| ProfileError::Key { name: name.into() })
    }

    /// The keys in which two profiles differ.
    pub fn differences<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = &'static Key> + 'a {
        KEYS.iter().filter(move |key| key.code(self) != key.code(other))
    }

    /// Checks that the values go together.
    ///
    /// # Errors
    /// [`ProfileError::Together`] says which do not, and the limit.
    pub fn validate(&self) -> Result<(), ProfileError> {
        let limit =
            |ok: bool, why: String| if ok { Ok(()) } else { Err(ProfileError::Together { why }) };
        limit(
            (100..=100_000).contains(&self.channel_bit_ns),
            format!("`channel_bit_ns` is {}, the limits are 100 and 100 000", self.channel_bit_ns),
        )?;
        limit(
            (1..=64).contains(&self.register_bits),
            format!("`register_bits` is {}, the limits are 1 and 64", self.register_bits),
        )?;
        limit(
            [8, 16, 32].contains(&self.word_bits),
            format!("`word_bits` is {}, it must be 8, 16 or 32", self.word_bits),
        )?;
        limit(
            self.sync_mask >> 1 >> (self.register_bits - 1) == 0,
            format!("`sync_mask` is {:x}, wider than {} bits", self.sync_mask, self.register_bits),
        )?;
        limit(
            self.slack_min <= self.slack_max && self.slack_max <= 2 * self.word_bits,
            format!(
                "`slack_min` {} and `slack_max` {} must rise and stay within two words, {} bits",
                self.slack_min,
                self.slack_max,
                2 * self.word_bits
            ),
        )?;
        limit(
            (1..=crate::MAX_FIFO_WORDS).contains(&self.fifo_words),
            format!(
                "`fifo_words` is {}, the limits are 1 and {}",
                self.fifo_words,
                crate::MAX_FIFO_WORDS
            ),
        )?;
        limit(
            self.latch_words <= 4,
            format!("`latch_words` is {}, the limit is 4", self.latch_words),
        )?;
        limit(
            self.done_latency <= 1_000,
            format!("`done_latency` is {} channel bits, the limit is 1 000", self.done_latency),
        )?;
        limit(
            self.poll_jitter < self.channel_bit_ns,
            format!(
                "`poll_jitter` is {} ns, it must be under a channel bit, {} ns",
                self.poll_jitter, self.channel_bit_ns
            ),
        )?;
        limit(
            self.gate_lead <= 1_000 && self.match_to_write <= 1_000,
            format!(
                "`gate_lead` is {} and `match_to_write` {} channel bits, the limit is 1 000",
                self.gate_lead, self.match_to_write
            ),
        )?;
        limit(
            self.match_jitter <= self.word_bits,
            format!(
                "`match_jitter` is {} channel bits, it must be within a word, {}",
                self.match_jitter, self.word_bits
            ),
        )?;
        limit(
            self.lost_tail < self.word_bits,
            format!(
                "`lost_tail` is {} channel bits, it must be under a word, {}",
                self.lost_tail, self.word_bits
            ),
        )?;
        limit(
            self.gate_off_min <= self.gate_off_max && self.gate_off_max <= self.word_bits,
            format!(
                "`gate_off_min` {} and `gate_off_max` {} must rise and stay within a word, {} bits",
                self.gate_off_min, self.gate_off_max, self.word_bits
            ),
        )?;
        limit(
            self.abort_to_gate <= self.word_bits,
            format!(
                "`abort_to_gate` is {} channel bits, it must be within a word, {}",
                self.abort_to_gate, self.word_bits
            ),
        )?;
        limit(
            self.window <= 100 && self.rate_limit <= 100,
            format!(
                "`window` is {} % and `rate_limit` {} %, the limit is 100",
                self.window, self.rate_limit
            ),
        )?;
        limit(
            (1..=4_096).contains(&self.lock_bits),
            format!("`lock_bits` is {} channel bits, the limits are 1 and 4 096", self.lock_bits),
        )?;
        limit(
            (1..=crate::MAX_WORDS).contains(&self.max_words),
            format!("`max_words` is {}, the limits are 1 and {}", self.max_words, crate::MAX_WORDS),
        )
    }

    /// Channel bits of a byte of the byte port.
    #[must_use]
    pub const fn byte_bits(&self) -> u16 {
        match self.byte {
            ByteUnit::Channel8 => 8,
            ByteUnit::Data8 => 16,
        }
    }

    /// The sync word of power-up and reset: 4489 in its low R bits (SA810/860 OEM manual, fig.
    /// 6-7, gives the mark's clock byte 0A; with data A1 the channel word is 4489).
    #[must_use]
    pub const fn default_sync_word(&self) -> u64 {
        0x4489 & (!0 >> (64 - self.register_bits))
    }
}

#[cfg(feature = "serde")]
mod data {
    //! A profile in a case file: every key by name, as text.

    use super::{KEYS, Profile};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};
    use std::collections::BTreeMap;

    impl Serialize for Profile {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            serializer.collect_map(KEYS.iter().map(|key| (key.name, key.text(self))))
        }
    }

    impl<'de> Deserialize<'de> for Profile {
        fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
            let texts = BTreeMap::<String, String>::deserialize(deserializer)?;
            let mut profile = Self::sync_dma();
            for (name, text) in &texts {
                let key = Self::key(name).map_err(D::Error::custom)?;
                key.set_text(&mut profile, text).map_err(D::Error::custom)?;
            }
            profile.validate().map_err(D::Error::custom)?;
            Ok(profile)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{KEYS, Profile, ProfileError, Service, Value};

    #[test]
    fn every_value_survives_text_and_number() {
        for profile in [Profile::sync_dma(), Profile::byte_stream()] {
            profile.validate().expect("a built-in profile is valid");
            let (mut by_text, mut by_code) = (Profile::byte_stream(), Profile::byte_stream());
            for key in KEYS {
                key.set_text(&mut by_text, &key.text(&profile)).unwrap();
                key.set_code(&mut by_code, key.code(&profile)).unwrap();
            }
            assert_eq!(by_text, profile);
            assert_eq!(by_code, profile);
        }
    }

    #[test]
    fn an_unknown_key_or_value_is_refused_with_what_there_is() {
        assert!(matches!(Profile::key("sync_mode"), Err(ProfileError::Key { .. })));
        let key = Profile::key("partial").unwrap();
        let error = key.set_text(&mut Profile::sync_dma(), "keep").unwrap_err();
        assert_eq!(
            error.to_string(),
            "profile key `partial` cannot be `keep`; it takes drop | pad-low | finish"
        );
        assert!(key.set_code(&mut Profile::sync_dma(), 3).is_err());
    }

    #[test]
    fn slots_are_written_with_period_and_count() {
        let slots = Service::Slots { period_ns: 64_000, count: 3 };
        assert_eq!(Service::from_text(&slots.text()), Some(slots));
        assert_eq!(Service::from_code(slots.code()), Some(slots));
        assert_eq!(Service::from_text("slots(0,3)"), None);
    }

    #[test]
    fn values_that_do_not_go_together_are_named() {
        let wide = Profile { slack_max: 33, ..Profile::sync_dma() };
        assert!(wide.validate().unwrap_err().to_string().contains("slack_max"));
        let deep = Profile { fifo_words: 0, ..Profile::sync_dma() };
        assert!(deep.validate().is_err());
        let mask = Profile { register_bits: 8, ..Profile::sync_dma() };
        assert!(mask.validate().unwrap_err().to_string().contains("sync_mask"));
    }
}
