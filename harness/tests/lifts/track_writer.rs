//! Track writers on their lift: a right one is not accused, spoiled ones are.

use crate::checked::{check, rules_of};
use std::collections::VecDeque;
use std::sync::Arc;
use trackproof::campaign::Summary;
use trackproof::lift::track_writer;
use trackproof_contract::{Profile, SeamError, Start, TrackWriter, TransferRequest};

/// W and D of the profile sync-dma.
const WORD_BITS: u32 = 16;
const FIFO_WORDS: usize = 3;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Spoiled {
    Nothing,
    /// The last word is not written.
    LosesLastWord,
    /// The gate opens cells late.
    LateAtIndex,
    /// The serialiser finishes its word after an abort.
    AbortFinishesWord,
    /// Bits of a word in the wrong order.
    BackwardBits,
    /// The gate opens for a cell at a reset.
    GlitchAtReset,
    /// Completion comes with the last fetched word.
    DoneEarly,
    NotThere,
}

/// A correct writer for the profile sync-dma alone, but for what is spoiled.
struct SmallWriter {
    spoiled: Spoiled,
    request: Option<TransferRequest>,
    fetched: u32,
    /// Owed words of which the first bit has been written.
    serialised: u32,
    fifo: VecDeque<u64>,
    open: bool,
    /// The word under way, and how many of its bits are through.
    word: u64,
    through: u32,
    owed: bool,
    glitch: bool,
    late: u32,
    closes_behind_word: bool,
    done: bool,
}

impl SmallWriter {
    fn new(spoiled: Spoiled) -> Self {
        Self {
            spoiled,
            request: None,
            fetched: 0,
            serialised: 0,
            fifo: VecDeque::new(),
            open: false,
            word: 0,
            through: 0,
            owed: false,
            glitch: false,
            late: 0,
            closes_behind_word: false,
            done: false,
        }
    }

    fn end(&mut self) {
        let (done, glitch) = (self.done, self.glitch);
        *self = Self { done, glitch, ..Self::new(self.spoiled) };
    }
}

impl TrackWriter for SmallWriter {
    fn profile(&self) -> Option<Profile> {
        Some(Profile::sync_dma())
    }

    fn write(&mut self, request: TransferRequest, _: bool) -> Result<(), SeamError> {
        if self.spoiled == Spoiled::NotThere {
            return Err(SeamError::NotSupported);
        }
        if request.words == 0 {
            self.done = true;
        } else {
            self.request = Some(request);
        }
        Ok(())
    }

    fn offer(&mut self, transfer: u32, word: u64) -> Result<bool, SeamError> {
        let Some(request) = self.request.filter(|request| request.transfer == transfer) else {
            return Ok(false);
        };
        if self.fifo.len() == FIFO_WORDS || self.fetched == request.words {
            return Ok(false);
        }
        self.fifo.push_back(word);
        self.fetched += 1;
        self.done |= self.spoiled == Spoiled::DoneEarly && self.fetched == request.words;
        Ok(true)
    }

    fn index(&mut self) -> Result<(), SeamError> {
        let awaits = self.request.is_some_and(|request| request.start == Start::Index);
        if awaits && !self.open && self.fetched > 0 {
            self.open = true;
            self.late = if self.spoiled == Spoiled::LateAtIndex { 4 } else { 0 };
        }
        Ok(())
    }

    fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> {
        if std::mem::take(&mut self.glitch) {
            return Ok(Some(true));
        }
        let Some(request) = self.request else { return Ok(None) };
        self.open |= request.start == Start::Now && self.fetched > 0;
        if !self.open || self.late > 0 {
            self.late = self.late.saturating_sub(1);
            return Ok(None);
        }
        if self.through == 0 {
            self.owed = !self.fifo.is_empty();
            self.word = self.fifo.pop_front().unwrap_or(0); // an underrun gives zeros
            self.serialised += u32::from(self.owed);
        }
        self.through += 1;
        let place = match self.spoiled {
            Spoiled::BackwardBits => self.through - 1,
            _ => WORD_BITS - self.through,
        };
        Ok(Some(self.word >> place & 1 == 1))
    }

    fn end_cell(&mut self) -> Result<(), SeamError> {
        if self.through != WORD_BITS {
            return Ok(());
        }
        self.through = 0;
        let Some(request) = self.request else { return Ok(()) };
        let words = match self.spoiled {
            Spoiled::LosesLastWord => (request.words - 1).max(1),
            _ => request.words,
        };
        if self.closes_behind_word {
            self.end();
        } else if self.serialised >= words {
            self.done |= self.spoiled != Spoiled::DoneEarly;
            self.end();
        }
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, SeamError> {
        Ok(self.request.is_some())
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        if self.spoiled == Spoiled::AbortFinishesWord && self.through > 0 {
            self.closes_behind_word = true;
        } else {
            self.end();
        }
        Ok(())
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.end();
        self.glitch = self.spoiled == Spoiled::GlitchAtReset;
        Ok(())
    }

    fn done_signal(&mut self) -> Result<bool, SeamError> {
        Ok(std::mem::take(&mut self.done))
    }
}

fn check_small(spoiled: Spoiled, cases: u64) -> Summary {
    check(&Profile::sync_dma(), cases, || {
        track_writer::rig(Arc::new(move || SmallWriter::new(spoiled)))
    })
}

#[test]
fn a_right_writer_is_not_accused_and_not_held_to_reading() {
    let summary = check_small(Spoiled::Nothing, 6_000);
    assert_eq!(rules_of(&summary), [""; 0]);
    assert!(summary.judged > 300 && summary.compared.tracks > 300, "{} judged", summary.judged);
    assert!(summary.beside > 100, "{} of our own alone", summary.beside);
    let skipped: Vec<&str> = summary.skipped_rules().map(|(rule, _)| rule.id).collect();
    assert!(skipped.contains(&"raw.contiguous") && !skipped.contains(&"write.words"));
}

#[test]
fn each_spoiled_writer_is_accused() {
    for (spoiled, rule) in [
        (Spoiled::LosesLastWord, "write.words"),
        (Spoiled::LateAtIndex, "write.start"),
        (Spoiled::AbortFinishesWord, "write.abort"),
        (Spoiled::BackwardBits, "write.verbatim"),
        (Spoiled::GlitchAtReset, "gate.quiet"),
        (Spoiled::DoneEarly, "transfer.done"),
    ] {
        let rules = rules_of(&check_small(spoiled, 4_000));
        assert!(rules.contains(&rule), "{spoiled:?}: {rules:?}");
    }
}

#[test]
fn a_writer_that_is_not_there_is_not_judged() {
    let summary = check_small(Spoiled::NotThere, 500);
    assert!(summary.compared_nothing());
}
