//! The rules: what an implementation is held to, each with its source and what breaking it does.
//!
//! Ids are words and stay for ever: append, never rename.

use trackproof_contract::{Capabilities, Capability};

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Breaking it is a deviation.
    Must,
    /// Breaking it is reported; it fails a run only under `--strict`.
    Should,
}

/// A rule.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Its id.
    pub id: &'static str,
    /// What the implementation does that keeps it.
    pub sentence: &'static str,
    /// How much it weighs.
    pub level: Level,
    /// Where it comes from.
    pub source: &'static str,
    /// What an implementation must be able to do to be held to it.
    needs: &'static [Capability],
    /// The bug that it catches.
    pub catches: &'static str,
    /// What that bug does to a user.
    pub effect: &'static str,
}

impl Rule {
    /// What an implementation must be able to do to be held to it.
    #[must_use]
    pub fn needs(&self) -> Capabilities {
        Capabilities::of(self.needs)
    }

    /// Whether generated cases show it. The others show in recordings alone: no case of a campaign
    /// has drive lines yet.
    #[must_use]
    pub fn shows_in_cases(&self) -> bool {
        !IN_RECORDINGS_ONLY.contains(&self.id)
    }

    /// The rule of that id.
    #[must_use]
    pub fn find(id: &str) -> Option<&'static Self> {
        RULES.iter().find(|rule| rule.id == id)
    }
}

/// What [`recording`](crate::recording) judges and nothing else does.
const IN_RECORDINGS_ONLY: [&str; 7] = [
    "transfer.hold",
    "write.steady",
    "write.cadence",
    "select.exclusive",
    "select.break-first",
    "drive.step",
    "drive.index",
];

const DEFINED: &str = "by definition: the controller's own profile says so";
const PRACTICE: &str = "common practice, no source";

macro_rules! rules {
    ($($id:literal $level:ident [$($need:ident),*] $source:expr;
        $sentence:literal; $catches:literal; $effect:literal;)+) => {
        /// Every rule, in the order of the catalogue.
        pub static RULES: &[Rule] = &[$(Rule {
            id: $id,
            sentence: $sentence,
            level: Level::$level,
            source: $source,
            needs: &[$(Capability::$need),*],
            catches: $catches,
            effect: $effect,
        },)+];
    };
}

rules! {
    "sync.start" Must [HardwareSync] DEFINED;
        "Starts a waiting transfer only on a match, with the first word that its profile says.";
        "A comparator with a wrong mask, or a starting word that is delivered when it should not be.";
        "The host's sector code is off by one word and finds no header.";
    "sync.phase" Must [HardwareSync] "common practice, no source: a mark may begin at any channel bit";
        "Matches at every bit phase, and the first word begins at the right channel bit.";
        "A comparator that looks only at some phases, or a word that begins a channel bit early or late.";
        "Some tracks read and some do not, depending on where the write began.";
    "sync.wrap" Must [HardwareSync] "by definition: a track is a circle, the index is no edge of its bits";
        "Matches and counts words across the index as anywhere else.";
        "A buffer that ends at the index: a match or a word across it is lost or shifted.";
        "One sector of a track, the one across the index, cannot be read.";
    "sync.realign" Must [HardwareSync] DEFINED;
        "Treats an aligned or misaligned match inside a running read as its profile says.";
        "A word counter that is not zeroed, zeroed once only, or zeroed a bit late at a later match.";
        "The first sector of a track reads, the next ones are shifted.";
    "sync.double" Must [HardwareSync] DEFINED;
        "Treats sync words back to back as its profile says.";
        "The second of two sync words is swallowed, or delivered twice.";
        "Host code that counts sync words before a header misses it.";
    "sync.overlap" Must [HardwareSync] "exhaustive count: 4489 matches itself again at shifts of 7 and 14 bits";
        "Treats matches that overlap each other as its profile says.";
        "A second match that shares bits with the first is taken, or ignored, against the profile.";
        "Data 40 to 4F behind a mark shifts the sector.";
    "sync.none" Must [HardwareSync, Abort] PRACTICE;
        "Delivers nothing without a match, and can be aborted while it waits.";
        "A waiting read that starts by itself, or one that hangs for ever.";
        "An unformatted track gives garbage instead of a time-out.";
    "sync.change" Must [HardwareSync, SyncWord] DEFINED;
        "Takes a changed sync word, and hardware sync switched on or off, within two channel bits.";
        "A new sync word that counts only from the next transfer or word on.";
        "Formats that switch sync words inside a track cannot be read.";
    "sync.flag" Must [StatusMatch] DEFINED;
        "Shows the match flag as its profile says.";
        "A flag that sticks, is set a bit late, or is missing.";
        "Software that polls the flag waits for ever, or reads too early.";
    "sync.source" Must [HardwareSync, Drives] "by definition: bits of two sources are no word";
        "Makes no match of bits from two drives, sides or cylinders.";
        "A shift register that keeps the old drive's bits after a switch.";
        "A copier that changes drives starts in the middle of nowhere, rarely.";
    "raw.contiguous" Must [Read] "by definition: without hardware sync nothing moves the word boundaries";
        "Delivers unbroken channel bits at one phase.";
        "A bit lost or doubled, at the index or anywhere.";
        "Software that searches the sync itself loses sectors at random.";
    "raw.indifferent" Must [Read, HardwareSync] "by definition: what is switched off does nothing";
        "Delivers words that do not depend on the sync word while hardware sync is off.";
        "A comparator that stays on when hardware sync is switched off.";
        "Raw readers see the words shift at each sync word; protection checks and copiers fail.";
    "raw.fresh" Must [Read] PRACTICE;
        "Delivers nothing that is left over from before the transfer.";
        "A word in a latch or FIFO that the next transfer delivers first.";
        "Every second read has a wrong first word.";
    "raw.equal" Must [Read, HardwareSync] "by definition: both methods read the same flux";
        "Gives the same good sectors by software sync as by hardware sync.";
        "One of the two ways loses or damages sectors.";
        "A disk reads in one program and not in another.";
    "byte.poll" Must [BytePort] DEFINED;
        "Shows each byte once, flags it, and loses none that is polled in time.";
        "A byte that completes at the edge of a poll is never flagged, or a byte is shown twice.";
        "A polling loader drops a byte every few thousand and fails its check.";
    "poll.atomic" Must [BytePort] "by definition: byte and flag are read in one operation";
        "Gives byte and flag of the same moment.";
        "Flag and byte are sampled at two moments.";
        "A new byte is taken for an old one, or an old one twice.";
    "transfer.count" Must [Read, Fifo] "by definition: N words are N words";
        "Delivers exactly the words asked for.";
        "A word too many or too few.";
        "The word behind the buffer is overwritten, or the last one is stale.";
    "transfer.split" Must [Read, Fifo] DEFINED;
        "Joins, or does not join, one read to the next as its profile says.";
        "The bits between two reads are lost, or read twice.";
        "A track read in two halves does not fit together.";
    "transfer.order" Must [Read] "by definition: first channel bit first";
        "Delivers the words in order, each with its bits in order.";
        "Bytes of a word, or two words, are swapped.";
        "Nothing decodes.";
    "transfer.rearm" Must [Read, Fifo] DEFINED;
        "Takes a request made at once after the transfer before, or while that runs, as its profile says.";
        "A request right after done is lost, or one while busy disturbs the running read.";
        "Back-to-back reads hang now and then.";
    "transfer.stall" Must [Read, Fifo] DEFINED;
        "Loses only whole words when service comes late, as its profile says.";
        "An overrun that loses part of a word, or more words than it says.";
        "Under load the rest of the track is shifted, not just short.";
    "transfer.done" Must [DoneSignal] DEFINED;
        "Signals completion once, at its event.";
        "Completion that comes early, twice, late or never.";
        "The host reads the buffer before it is full, or waits for ever.";
    "transfer.quiet" Must [Read, Abort, Fifo] "by definition: an ended transfer has ended";
        "Moves nothing after done or abort, and leaves nothing of it for later.";
        "A word or a flag that comes after the abort.";
        "Memory is overwritten after the host has freed it.";
    "select.answer" Must [] "drive makers' handbooks (SA810/860 OEM manual 2.2): outputs of the selected drive only";
        "Shows the lines of the selected drive only.";
        "Status of another drive, or of none.";
        "A copier with two drives believes that the wrong one is protected or at track 00.";
    "apart.output" Must [UnrelatedOutput] "metamorphic: the same case without the output";
        "Is not affected by an output that has nothing to do with it.";
        "A write to a shared register disturbs the status or the transfer.";
        "A light that is switched on makes the drive seem busy.";
    "apart.poll" Must [] "metamorphic: the same case without the polls";
        "Is not affected by harmless polls.";
        "Reading the status moves the shift register, the FIFO or a flag.";
        "A program works only as long as it does not look.";
    "apart.drives" Must [Drives] "metamorphic: the same case with the other drive at rest";
        "Reads the same sectors whether or not another drive has a turn in between.";
        "State that belongs to a drive is kept once for all of them.";
        "Copying from drive to drive fails, each drive alone works.";
    "apart.rotation" Must [Read] "metamorphic: medium, index and start turned together";
        "Gives the same words wherever on the turn they lie.";
        "Behaviour that depends on the absolute angle.";
        "A read works or fails with the moment at which it was started.";
    "time.shift" Must [Read] "metamorphic: the same program begun whole turns later";
        "Gives the same observations some whole turns later.";
        "A counter that overflows, or state from power-up that decides later reads.";
        "It works after power-up and fails after an hour.";
    "reset.clean" Must [Reset] DEFINED;
        "After reset shows nothing of before, and keeps what lives in the drive.";
        "Sync word, switch, FIFO, flag or request that survives a reset.";
        "The first read after a restart fails.";
    "clock.rule" Must [Write, Media] "ISO 8630-3 and ISO 8860-2, clause 4.1 b) for MFM; SA810/860 OEM manual 1.4.8 for FM";
        "Writes every clock bit as its two neighbouring data bits demand, marks excepted.";
        "A clock generator with a wrong table, or one that looks at one neighbour only.";
        "The track reads on some drives and fails on others, for its intervals are too long or too short.";
    "clock.context" Must [] "ISO 8630-3 and ISO 8860-2, clause 4.1 b): the rule knows no byte boundaries";
        "Carries the last data bit over bytes, words, sectors and the turn's end into the next clock bit.";
        "A clock generator that begins each byte, word or track as if a fixed bit came before.";
        "Rare bytes, or the one across the index, get an illegal interval and fail now and then.";
    "clock.present" Must [ImageDrives] "ISO 8630-3 and ISO 8860-2, clause 4.1 b); that hosts mask clock bits away is common practice, no source";
        "Streams an image-backed track with its clock bits, so that a raw copy on a real medium can be read.";
        "An image drive that streams data bits alone: hosts mask the clock bits and nobody notices.";
        "The copy on a real disk has long stretches without a transition and cannot be read.";
    "clock.idempotent" Must [Write, Media] "by definition: a legal stream has its clock bits already";
        "Leaves an already legal stream unchanged when it makes its clock bits anew.";
        "A second pass over a track that changes bits behind marks.";
        "Each copy of a copy is a little worse.";
    "run.length" Must [Write, Media] "by enumeration: MFM spaces transitions by 2 to 4 channel bits, FM by 1 or 2";
        "Never spaces transitions outside the code's limits, but where the case asked for it.";
        "A clock bit more or less at a seam of words.";
        "Read circuits lose lock behind the place.";
    "mark.pattern" Must [] "SA810/860 OEM manual, fig. 6-7: clock byte 0A of A1, 14 of C2";
        "Writes marks with exactly the missing clock of the standard.";
        "A mark that goes through the clock generator like any byte.";
        "No sector is found at all.";
    "layout.fields" Must [ImageDrives] "SMSC LPC47M102 data sheet, p. 49, and the layout in the case";
        "Streams the fields of an image-backed track in their order, with the right checks.";
        "A check over the wrong bytes, or a header of another track.";
        "Host software reports bad sectors on a good image.";
    "write.words" Must [Write, Media] "by definition: what is owed is written";
        "Puts every owed word on the medium, in order.";
        "A first word lost while the gate opens, a last one while it closes, one word too many.";
        "Sectors are written with a wrong begin or a missing check, and verify fails.";
    "write.verbatim" Must [Write, Media] DEFINED;
        "Writes channel words as they are given, illegal ones too.";
        "A controller that mends what the host writes on purpose.";
        "Marks and protections that host software writes are lost.";
    "write.start" Must [Write, Media] DEFINED;
        "Begins to write where it was asked to: at once, behind a match, at the index.";
        "A write that begins a bit early or late, or on the wrong match.";
        "Updated sectors creep towards their neighbours.";
    "write.wrap" Must [Write, Media] "by definition: a track is a circle";
        "Writes over the index, and longer than a turn, as anywhere else.";
        "A buffer of one turn that ends a write, or begins it anew, at the index.";
        "The sector across the index is damaged by every write.";
    "write.guard" Must [Write, Media] DEFINED;
        "Changes nothing outside what it writes and the guards at both its ends.";
        "A gate that opens words too early, or a buffer that is written back whole.";
        "Neighbouring sectors lose bits each time one is updated.";
    "write.neighbour" Must [Write, Media] "by definition: gap at least length times speed ratio, guards and slack";
        "Leaves the sectors beside a written one readable.";
        "A write that is too long for its gap, or moves each time.";
        "A disk wears out in use: sector by sector it becomes unreadable.";
    "write.target" Must [Write, Media] "by definition: select, side and head say where";
        "Writes only on the selected drive, side and cylinder.";
        "A select or side that reaches the drive after the gate has opened.";
        "Another disk, or the other side, is overwritten.";
    "write.refused" Must [Write, Media] DEFINED;
        "Writes nothing on a protected medium, nor without a drive that is selected and turns.";
        "A write protect line that is not looked at.";
        "A protected disk is overwritten.";
    "write.abort" Must [Write, Media, Abort] DEFINED;
        "Closes the gate at once on abort, in the middle of a word as well.";
        "A serialiser that first finishes its word.";
        "A driver that aborts to save a sector damages the next one.";
    "gate.quiet" Must [Media] "by definition: nobody asked for a write";
        "Never opens the gate outside an accepted write.";
        "A gate that opens for a moment at a request that is refused, at reset, at a change of drive.";
        "Disks that were only read get bad sectors.";
    "stops" Must [] "by definition: whoever is asked answers";
        "Comes back from every case: without a crash, an abort, an endless loop, an end of its process.";
        "A null pointer, a buffer overrun, a stack that is too small, a wait for what never comes.";
        "The machine hangs or goes down, and takes what was not yet written with it.";
    "transfer.hold" Must [] "SA810/860 OEM manual, fig. 1-8, for side to gate; select to valid outputs is from memory";
        "Takes or gives no word before select and side have reached the drive and it can answer.";
        "A gate that opens while an expander still sends the select or the side on its way.";
        "The first bytes go to the other side, or to the drive that was selected before.";
    "write.steady" Must [] "RS leaflet 9419 for step; for the other lines common practice, no source";
        "Keeps select, side, motor, direction and step still while the write gate is open.";
        "A driver's change of a line that goes out at once, whatever is being written.";
        "A strip of another track or side is overwritten.";
    "write.cadence" Must [] "SFD-321B specification, 5.4.4: intervals as the code has them, 0.5 % more or less";
        "Keeps the bit time from transition to transition, over the seams of words too.";
        "A serialiser that waits a clock, or an interrupt, between two words.";
        "Every word's seam is a place where a reader slips by a bit.";
    "select.exclusive" Must [] "common practice, no source: of drives on one cable one answers";
        "Selects at most one drive at a time.";
        "A select that is not taken back, or a mask that is written as a number.";
        "Two drives write at once, or drive the same line against each other.";
    "select.break-first" Must [] "common practice, no source: of drives on one cable one answers";
        "Takes one drive's select back before it gives another one.";
        "Select lines that are switched one after the other in the wrong order.";
        "For a moment two drives answer: a status read there is of both.";
    "drive.step" Must [] "SA810/860 OEM manual, 2.2.6; RS leaflet 9419; HP 9130K service manual, p. 17";
        "Steps with pulses, rates and a direction that drives can follow, and the selected drive only.";
        "A pulse too short, steps too fast, a direction that changes with the pulse.";
        "The head is on another track than the software believes.";
    "drive.index" Must [] "SFD-321B specification, 2.1: 1.5 %; the map says what it is held to";
        "Gives an index a turn, none lost, at the nominal speed.";
        "An index that is made by a timer of its own, or lost while something else is done.";
        "Formatting ends early or never.";
    "separator.legal" Must [Separator] "ISO 8630-3, 4.4.2 and 4.4.3: cells within 3 % in the long term, 8 % of that in the short term";
        "Makes of legal flux the channel bits that were written, within its window and its limit of change, at every speed that a standard disk may have.";
        "Fixed thresholds, a loop that follows the phase alone or too slowly, a window off its centre.";
        "Disks of another drive read with errors that come and go with temperature and age.";
    "separator.recover" Must [Separator] "by definition: the profile's `lock_bits`, of a field of zeros as it stands before every mark";
        "Is right again after its lock bits, whatever was on the track before: an erased stretch, a splice.";
        "A speed estimate that runs away where nothing is read, a loop that is not let go.";
        "The sector behind a gap or behind a rewritten one is not found.";
}

#[cfg(test)]
mod tests {
    use super::{IN_RECORDINGS_ONLY, RULES, Rule};

    #[test]
    fn ids_are_unique_and_found() {
        for (index, rule) in RULES.iter().enumerate() {
            assert!(RULES[..index].iter().all(|other| other.id != rule.id), "{} twice", rule.id);
            assert!(Rule::find(rule.id).is_some());
            assert!(rule.sentence.ends_with('.') && rule.catches.ends_with('.'));
        }
        assert!(Rule::find("sync.never").is_none());
    }

    #[test]
    fn what_shows_in_recordings_only_is_a_rule() {
        for id in IN_RECORDINGS_ONLY {
            assert!(Rule::find(id).is_some_and(|rule| !rule.shows_in_cases()), "{id}");
        }
    }
}
