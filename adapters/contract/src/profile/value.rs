//! The values that keys of a profile take, and how each is written as text and as a number.

/// How a key's value is written as text and as a number of the C ABI.
pub(super) trait Value: Sized {
    fn text(&self) -> String;
    fn from_text(text: &str) -> Option<Self>;
    fn code(&self) -> i64;
    fn from_code(code: i64) -> Option<Self>;
    /// The values there are, for an error message.
    fn allowed() -> String;
}

macro_rules! choices {
    ($($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal,)+ })+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant,)+ }

        impl Value for $name {
            fn text(&self) -> String {
                match self { $(Self::$variant => $text.into(),)+ }
            }
            fn from_text(text: &str) -> Option<Self> {
                match text { $($text => Some(Self::$variant),)+ _ => None }
            }
            fn code(&self) -> i64 {
                *self as i64
            }
            fn from_code(code: i64) -> Option<Self> {
                [$(Self::$variant,)+].into_iter().find(|value| *value as i64 == code)
            }
            fn allowed() -> String {
                [$($text,)+].join(" | ")
            }
        }
    )+};
}

choices! {
    /// Whether a controller does something.
    YesNo {
        /// It does not.
        No = "no",
        /// It does.
        Yes = "yes",
    }
    /// The code on the track.
    Recording {
        /// Two-frequency recording.
        Fm = "fm",
        /// Modified frequency modulation.
        Mfm = "mfm",
    }
    /// Whether the word that starts a waiting transfer is its first word.
    StartMatch {
        /// The word after it is the first.
        Drop = "drop",
        /// It is the first.
        Deliver = "deliver",
    }
    /// What a match on a word boundary of a running read is.
    AlignedMatch {
        /// A word like any.
        Word = "word",
        /// Not delivered and not counted.
        Drop = "drop",
    }
    /// What a match off the word boundaries of a running read does.
    MisalignedMatch {
        /// Zeroes the counter; the matching word is not delivered.
        RealignDrop = "realign-drop",
        /// Zeroes the counter and delivers the matching word.
        RealignDeliver = "realign-deliver",
        /// Changes nothing.
        Ignore = "ignore",
    }
    /// What becomes of the bits since the last boundary when a match realigns.
    Partial {
        /// They are lost.
        Drop = "drop",
        /// They are delivered left-justified, zeros below.
        PadLow = "pad-low",
        /// The running word still completes.
        Finish = "finish",
    }
    /// Which misaligned matches of a transfer realign.
    Realign {
        /// All.
        Every = "every",
        /// The first.
        First = "first",
        /// None.
        Never = "never",
    }
    /// Where a raw read's first word begins.
    Counter {
        /// At the boundary of the counter that always runs.
        FreeRunning = "free-running",
        /// At the acceptance.
        ZeroedAtStart = "zeroed-at-start",
    }
    /// Whether a new sync word takes effect as one.
    SyncWrite {
        /// All bits at one moment.
        Whole = "whole",
        /// High and low half at a moment each.
        Halves = "halves",
    }
    /// What switching hardware sync on does to a running raw read.
    SyncOnLive {
        /// Matches count at once.
        Realign = "realign",
        /// Matches count when that read has ended.
        NextTransfer = "next-transfer",
    }
    /// What switching hardware sync off does to a read that waits for a match.
    SyncOffWaiting {
        /// It starts raw at that moment.
        Start = "start",
        /// It goes on waiting.
        Wait = "wait",
    }
    /// How a match shows.
    MatchFlag {
        /// While the register equals the sync word.
        Level = "level",
        /// From a match until a status read.
        LatchedClearOnRead = "latched-clear-on-read",
        /// From a match until the next transfer is accepted.
        LatchedClearOnStart = "latched-clear-on-start",
        /// As a signal of its own at each match; the status bit stays 0.
        Event = "event",
    }
    /// Whether the register may match on bits of two sources.
    Straddle {
        /// Never.
        No = "no",
        /// It may.
        Allowed = "allowed",
    }
    /// What a byte of the byte port is.
    ByteUnit {
        /// Eight channel bits.
        Channel8 = "channel-8",
        /// The eight data bits of sixteen channel bits.
        Data8 = "data-8",
    }
    /// What happens to a word that completes while the FIFO is full.
    Overrun {
        /// That word is lost.
        LoseNew = "lose-new",
        /// The oldest word is lost.
        LoseOld = "lose-old",
        /// Nothing more is taken in; the waiting words may still be taken.
        Stop = "stop",
    }
    /// What is written when no word waits.
    Underrun {
        /// The last word again.
        Repeat = "repeat",
        /// Zeros.
        Zeros = "zeros",
        /// Nothing: the gate closes.
        CloseGate = "close-gate",
        /// Zeros bit by bit, until a word comes.
        Hold = "hold",
    }
    /// How lost words are reported.
    ErrorFlag {
        /// Not at all.
        None = "none",
        /// By a status bit that stays until reset.
        Sticky = "sticky",
        /// By a status bit that the next accepted transfer clears.
        PerTransfer = "per-transfer",
    }
    /// The event at which a read is done.
    ReadDone {
        /// The last word has been taken by a service.
        LastStored = "last-stored",
        /// The last word has completed.
        LastCompleted = "last-completed",
    }
    /// The event at which a write is done.
    WriteDone {
        /// The last word has been fetched.
        LastFetched = "last-fetched",
        /// The last bit has been written.
        LastBit = "last-bit",
        /// The gate has closed.
        GateOff = "gate-off",
    }
    /// What a request does while a transfer is pending or running.
    StartBusy {
        /// Nothing.
        Ignore = "ignore",
        /// Aborts the running one and takes its place.
        Replace = "replace",
        /// It is refused and reported; the running one goes on.
        Error = "error",
    }
    /// What a request for no words means.
    ZeroWords {
        /// No words: done at acceptance.
        None = "none",
        /// `max_words` words.
        Maximum = "maximum",
    }
    /// What a written word is.
    WriteUnit {
        /// Channel bits, written as they are.
        ChannelWords = "channel-words",
        /// Data bits, to which the controller makes the clock bits, and marks among them.
        DataBytes = "data-bytes",
    }
    /// The data bit that a write's first clock bit supposes before it.
    FirstContext {
        /// A zero.
        Zero = "0",
        /// A one.
        One = "1",
        /// The last data bit of the write before.
        Last = "last",
    }
    /// An edge of the index.
    IndexEdge {
        /// Its begin.
        Leading = "leading",
        /// Its end.
        Trailing = "trailing",
    }
    /// What the reader sees while no drive gives read data.
    NoDriveRead {
        /// Zeros.
        Zeros = "zeros",
        /// Ones.
        Ones = "ones",
        /// Anything.
        Noise = "noise",
        /// No bits: no word ever comes.
        Nothing = "nothing",
    }
}

/// Whether the byte port exists: a [`YesNo`] with the name of its key.
pub type BytePort = YesNo;

/// How the host gives service to a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Service {
    /// One word at each service of the case's own rhythm.
    PerWord,
    /// `count` services together, every `period_ns`.
    Slots {
        /// Time from slot to slot.
        period_ns: u32,
        /// Services in each.
        count: u16,
    },
}

impl Value for Service {
    fn text(&self) -> String {
        match self {
            Self::PerWord => "per-word".into(),
            Self::Slots { period_ns, count } => format!("slots({period_ns},{count})"),
        }
    }
    fn from_text(text: &str) -> Option<Self> {
        if text == "per-word" {
            return Some(Self::PerWord);
        }
        let (period, count) = text.strip_prefix("slots(")?.strip_suffix(')')?.split_once(',')?;
        let (period_ns, count) = (period.trim().parse().ok()?, count.trim().parse().ok()?);
        (period_ns > 0 && count > 0).then_some(Self::Slots { period_ns, count })
    }
    fn code(&self) -> i64 {
        match self {
            Self::PerWord => 0,
            Self::Slots { period_ns, count } => i64::from(*period_ns) << 16 | i64::from(*count),
        }
    }
    fn from_code(code: i64) -> Option<Self> {
        if code == 0 {
            return Some(Self::PerWord);
        }
        let (period_ns, count) = (u32::try_from(code >> 16).ok()?, code as u16);
        (period_ns > 0 && count > 0).then_some(Self::Slots { period_ns, count })
    }
    fn allowed() -> String {
        "per-word | slots(PERIOD_NS,COUNT), both at least 1".into()
    }
}

/// The guards about a splice, in nanoseconds: what is there before, after or between them is free.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SpliceGuard {
    /// g1: before the gate's opening.
    pub before_on_ns: u16,
    /// g2: after it.
    pub after_on_ns: u16,
    /// g3: before the gate's closing.
    pub before_off_ns: u16,
    /// g4: after it.
    pub after_off_ns: u16,
}

impl SpliceGuard {
    /// 4 µs on each side of both ends.
    pub const EVEN: Self =
        Self { before_on_ns: 4_000, after_on_ns: 4_000, before_off_ns: 4_000, after_off_ns: 4_000 };

    const fn parts(self) -> [u16; 4] {
        [self.before_on_ns, self.after_on_ns, self.before_off_ns, self.after_off_ns]
    }

    const fn of(parts: [u16; 4]) -> Self {
        let [before_on_ns, after_on_ns, before_off_ns, after_off_ns] = parts;
        Self { before_on_ns, after_on_ns, before_off_ns, after_off_ns }
    }
}

impl Value for SpliceGuard {
    fn text(&self) -> String {
        self.parts().map(|ns| ns.to_string()).join(",")
    }
    fn from_text(text: &str) -> Option<Self> {
        let parts: Vec<u16> = text.split(',').map_while(|part| part.parse().ok()).collect();
        let parts = <[u16; 4]>::try_from(parts).ok()?;
        let even = text.split(',').count() == 4;
        even.then_some(Self::of(parts)).filter(|guard| guard.code() >= 0)
    }
    fn code(&self) -> i64 {
        self.parts().iter().fold(0, |code, ns| code << 16 | i64::from(*ns))
    }
    fn from_code(code: i64) -> Option<Self> {
        let part = |at: u32| (code >> (16 * at)) as u16;
        (code >= 0).then_some(Self::of([part(3), part(2), part(1), part(0)]))
    }
    fn allowed() -> String {
        "four whole numbers G1,G2,G3,G4 of nanoseconds, 0 to 65535, the first to 32767".into()
    }
}

macro_rules! numbers {
    ($($ty:ty),+) => {$(
        impl Value for $ty {
            fn text(&self) -> String {
                self.to_string()
            }
            fn from_text(text: &str) -> Option<Self> {
                text.parse().ok()
            }
            fn code(&self) -> i64 {
                i64::try_from(*self).unwrap_or(i64::MAX)
            }
            fn from_code(code: i64) -> Option<Self> {
                Self::try_from(code).ok()
            }
            fn allowed() -> String {
                format!("a whole number, 0 to {}", Self::MAX)
            }
        }
    )+};
}
numbers!(u16, u32);

/// A word of up to 64 channel bits, written as hex text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Hex(pub(super) u64);

impl Value for Hex {
    fn text(&self) -> String {
        format!("{:04x}", self.0)
    }
    fn from_text(text: &str) -> Option<Self> {
        u64::from_str_radix(text, 16).ok().map(Self)
    }
    fn code(&self) -> i64 {
        self.0 as i64
    }
    fn from_code(code: i64) -> Option<Self> {
        Some(Self(code as u64))
    }
    fn allowed() -> String {
        "hex digits, 16 at most".into()
    }
}
