//! The seam of a writer: FIFO, serialiser, clock generation, write gate. Words in, channel bits
//! with the gate out.

use crate::{Profile, SeamError, TransferRequest};

/// The part of a controller that writes.
///
/// You write the four methods that have no body; we add the drives, their media and rotation, the
/// host, and a reader that reads back raw what was written. The reader is lent and not held against
/// you: what stands on the media after a run is. The writer is called like hardware that is clocked
/// once a channel bit; it never learns the time in nanoseconds.
///
/// What a word is (`write_unit`), when the gate opens and closes (`gate_lead`, `gate_off_min`, …),
/// what an empty FIFO does (`underrun`) is the profile's to say: a sentence a key in
/// `profiles/sync-dma.toml` beside this crate. W is the width of a word, D the depth of the FIFO.
///
/// # Which method opens what
///
/// | methods | capability | what it is then held to |
/// |---|---|---|
/// | `write`, `offer`, `begin_cell`, `is_busy` | `write`, `media` | writes that start at once |
/// | `index` | `index-start` | writes that start at the index |
/// | `abort`, `reset` | `abort`, `reset` | a gate that closes at once, and nothing of before left |
/// | `done_signal` | `done-signal` | completion |
///
/// Writes that start at a match need a reader beside the writer and so are not asked for here:
/// plug both in as a [`DiskSubsystem`](crate::DiskSubsystem).
///
/// # The order of calls
///
/// Time runs from channel bit to channel bit, a cell each. At one moment come, in this order:
///
/// 1. `end_cell`, if a cell ends then: the end of a complete write belongs to its last bit;
/// 2. `offer`, for the write that is under way, at each service while words are left;
/// 3. what the host does, in its order: `write`, `abort`, `reset`; a write that is accepted then
///    may be offered its first word at once, behind it;
/// 4. `index`, if the cell that begins then is the first of the turn;
/// 5. `begin_cell`.
///
/// `done_signal` is asked after every one of them that a writer has. Every case begins with a
/// writer that has just been made (by the closure that you plug in), and with `power_up`.
///
/// # What the drive does
///
/// It writes what the gate lets through while it is selected, spins and is not protected. When
/// select, side or the motor line change under an open gate, it keeps nothing more until the gate
/// has been closed: the writer need not know, and may run on.
///
/// # Example
///
/// A writer of single words, complete: D = 1, no underrun comes to it since it takes one word only.
///
/// ```
/// use trackproof_contract::{SeamError, Start, TrackWriter, TransferRequest};
///
/// #[derive(Default)]
/// struct OneWord {
///     transfer: Option<u32>,
///     bits_left: u32,
///     word: u64,
/// }
///
/// impl TrackWriter for OneWord {
///     fn write(&mut self, request: TransferRequest, _: bool) -> Result<(), SeamError> {
///         self.transfer = Some(request.transfer);
///         Ok(())
///     }
///     fn offer(&mut self, transfer: u32, word: u64) -> Result<bool, SeamError> {
///         let takes = self.transfer == Some(transfer) && self.bits_left == 0;
///         if takes {
///             (self.word, self.bits_left) = (word, 16);
///         }
///         Ok(takes)
///     }
///     fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> {
///         if self.bits_left == 0 {
///             return Ok(None);
///         }
///         self.bits_left -= 1;
///         Ok(Some(self.word >> self.bits_left & 1 == 1))
///     }
///     fn end_cell(&mut self) -> Result<(), SeamError> {
///         if self.bits_left == 0 && self.word != 0 {
///             *self = Self::default();
///         }
///         Ok(())
///     }
///     fn is_busy(&mut self) -> Result<bool, SeamError> {
///         Ok(self.transfer.is_some())
///     }
/// }
///
/// let mut writer = OneWord::default();
/// writer.write(TransferRequest { transfer: 0, words: 1, start: Start::Now }, false).unwrap();
/// assert_eq!(writer.begin_cell(), Ok(None), "it waits for its first word");
/// assert_eq!(writer.offer(0, 0x4489), Ok(true));
/// let mut written = 0;
/// while let Some(bit) = writer.begin_cell().unwrap() {
///     written = written << 1 | u64::from(bit);
///     writer.end_cell().unwrap();
/// }
/// assert_eq!((written, writer.is_busy()), (0x4489, Ok(false)));
/// ```
pub trait TrackWriter {
    /// A write is accepted now: no transfer is under way (`start_busy` and the acceptance's slack
    /// are looked after). It opens the gate at the begin of a cell: at once
    /// ([`Start::Now`](crate::Start::Now)) with its first word, `gate_lead` before that word's
    /// first bit, or at the [`index`](Self::index). `write_protected`: what the drive's line says
    /// now, for profiles with `checks_protect`; such a write is over before it has begun, without
    /// completion.
    ///
    /// `request.words` is how many words it will be offered; with 0 it is done at once.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet, and no case can be judged.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn write(&mut self, request: TransferRequest, write_protected: bool) -> Result<(), SeamError>;

    /// The bus is this write's to fetch a word: true if it takes `word`; it is offered the next one
    /// then, else this one again at the next service. It takes none if D words wait in the FIFO
    /// (the serialiser's is not counted), or if the write of that number is not under way.
    ///
    /// # Shape
    /// A word's low W bits, the first one the highest; see `write_unit`.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn offer(&mut self, transfer: u32, word: u64) -> Result<bool, SeamError>;

    /// A cell begins: `None` if the gate is closed while it passes, else whether it gets a flux
    /// transition. The gate opens and closes at the begin of a cell. Called once every T.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn begin_cell(&mut self) -> Result<Option<bool>, SeamError>;

    /// Whether a write waits or runs: from its acceptance until its gate has been closed.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn is_busy(&mut self) -> Result<bool, SeamError>;

    /// A cell ends. A write whose last owed bit was in it is over, with what the profile says of
    /// its end; the next cell has not begun yet. By default nothing happens.
    ///
    /// # Errors
    /// [`SeamError::Failed`] ends the run.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn end_cell(&mut self) -> Result<(), SeamError> {
        Ok(())
    }

    /// The profile that the writer has, if it cannot take any; as
    /// [`WordReader::profile`](crate::WordReader::profile).
    fn profile(&self) -> Option<Profile> {
        None
    }

    /// Power comes on; as [`WordReader::power_up`](crate::WordReader::power_up).
    ///
    /// # Errors
    /// [`SeamError::Failed`] when it cannot be what the profile asks.
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        let _ = profile;
        Ok(())
    }

    /// The index passes the head of the selected, spinning drive: the cell that begins now is the
    /// first of the turn. A write that starts at the index and has fetched no word by now goes on
    /// waiting for the next one.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: no write starts at the index.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct AtIndex { awaits_index: bool, fetched: u32, open: bool }
    /// impl TrackWriter for AtIndex {
    ///     fn index(&mut self) -> Result<(), SeamError> {
    ///         self.open |= self.awaits_index && self.fetched > 0;
    ///         Ok(())
    ///     }
    /// #   fn write(&mut self, _: TransferRequest, _: bool) -> Result<(), SeamError> { Ok(()) }
    /// #   fn offer(&mut self, _: u32, _: u64) -> Result<bool, SeamError> { Ok(false) }
    /// #   fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> { Ok(None) }
    /// #   fn is_busy(&mut self) -> Result<bool, SeamError> { Ok(false) }
    /// }
    /// let mut writer = AtIndex { awaits_index: true, ..AtIndex::default() };
    /// writer.index().unwrap();
    /// assert!(!writer.open, "no word yet: missed");
    /// ```
    fn index(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The write that waits or runs ends, if there is one: the gate is closed from the next cell
    /// on, or `abort_to_gate` later, in the middle of a word too; the FIFO is empty; there is no
    /// completion.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no abort.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Gate { open: bool, fifo: Vec<u64> }
    /// impl TrackWriter for Gate {
    ///     fn abort(&mut self) -> Result<(), SeamError> {
    ///         *self = Self::default();
    ///         Ok(())
    ///     }
    /// #   fn write(&mut self, _: TransferRequest, _: bool) -> Result<(), SeamError> { Ok(()) }
    /// #   fn offer(&mut self, _: u32, _: u64) -> Result<bool, SeamError> { Ok(false) }
    /// #   fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> { Ok(None) }
    /// #   fn is_busy(&mut self) -> Result<bool, SeamError> { Ok(false) }
    /// }
    /// let mut writer = Gate { open: true, fifo: vec![1] };
    /// writer.abort().unwrap();
    /// assert!(!writer.open && writer.fifo.is_empty());
    /// ```
    fn abort(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The controller is reset: as [`abort`](Self::abort), and whatever it keeps from write to
    /// write (the last data bit) is as at power-up.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no reset.
    ///
    /// # Example
    /// As [`abort`](Self::abort).
    fn reset(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// Whether the completion signal came since this was asked last: once a write, at the event
    /// that `write_done` names. Asked after every other call, so the moment is that call's.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no such signal.
    ///
    /// # Example
    /// As [`WordReader::done_signal`](crate::WordReader::done_signal).
    fn done_signal(&mut self) -> Result<bool, SeamError> {
        Err(SeamError::NotSupported)
    }
}
