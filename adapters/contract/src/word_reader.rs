//! The seam of a reader: shift register, sync comparator, word framing, FIFO. Channel bits in,
//! words out.

use crate::{Answer, PolledByte, Profile, SeamError, ShownStatus, TransferRequest};

/// The part of a controller that makes words of channel bits.
///
/// You write what you have, [`shift_in`](Self::shift_in) at least; we add the drives with what is
/// recorded on them, their rotation, the lines, the host, and time. Every other method has a body
/// that says [`SeamError::NotSupported`]: a missing capability. The reader is called like hardware
/// that is clocked once a channel bit; it never learns the time in nanoseconds, and it needs none.
///
/// What each method must do is said here as far as the interface goes; what a match, a word
/// boundary or an overrun *means* is the profile's to say, a key each: `profiles/sync-dma.toml`
/// beside this crate has a sentence for every one, and [`Profile`] has them as a struct. R is the
/// width of the register, W that of a word, D the depth of the FIFO.
///
/// # Which method opens what
///
/// | methods | capability | what it is then held to |
/// |---|---|---|
/// | `shift_in` | `read` | words of raw reads: unbroken, in order, at one phase |
/// | `request` and `service` | `fifo`, `refused-signal` | numbers of words, overruns, requests while busy |
/// | also `set_hardware_sync` and `source_changed` | `hardware-sync` | reads that wait for a match, realignment |
/// | `set_sync_word` | `sync-word` | changed sync words |
/// | `source_changed` | `drives`, `sides`, `step` | no match of bits from two sources |
/// | `index` | `index-start` | reads that start at the index |
/// | `abort`, `reset` | `abort`, `reset` | that nothing of before is left |
/// | `poll_byte` | `byte-port` | the byte port |
/// | `poll_status` | `status-done`, `-busy`, `-error`, `-match` | each bit that is driven |
/// | `done_signal`, `match_signal` | `done-signal`, `match-signal` | the signals |
///
/// # Two kinds of reader
///
/// *Without `request`* it is a framer. It knows of no transfer: it hands out every word as it
/// completes, and we keep requests and FIFO for it, by the profile that it is judged by. Of its
/// transfers nothing can be said then, and nothing is.
///
/// *With `request`* it keeps its own transfers and its own FIFO: `shift_in` hands out nothing,
/// words leave by [`service`](Self::service) alone. All methods but `request`, `service`,
/// `done_signal` and the polls may be called while no transfer is under way.
///
/// # The order of calls
///
/// Time runs from channel bit to channel bit; the k-th one ends at k · T. At one moment come, in
/// this order:
///
/// 1. `shift_in`, if a channel bit ends then;
/// 2. `service`, for the transfer that was requested before, each time that the host is ready;
/// 3. what the host does, in its order: `request`, `abort`, `reset`, `set_sync_word`,
///    `set_hardware_sync`, `poll_status`, `poll_byte`, and `source_changed` when it selects, steps
///    or changes the side; a transfer that is requested then may be served at once, behind it;
/// 4. `index`, if the channel bit that begins then is the first of the turn.
///
/// `match_signal` and then `done_signal` are asked after every one of 1 to 4 that a reader has.
///
/// # Power-up
///
/// Every case begins with a reader that has just been made (by the closure that you plug in), and
/// with [`power_up`](Self::power_up). The register holds zeros, valid; the sync word is 4489, its
/// low R bits; hardware sync is off; nothing is pending.
///
/// # Example
///
/// A framer, complete. It counts W = 16 from power-up on, whatever happens.
///
/// ```
/// use trackproof_contract::{SeamError, WordReader};
///
/// #[derive(Default)]
/// struct Framer {
///     register: u16,
///     counted: u32,
/// }
///
/// impl WordReader for Framer {
///     fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
///         self.register = self.register << 1 | u16::from(bit);
///         self.counted = (self.counted + 1) % 16;
///         Ok((self.counted == 0).then_some(self.register.into()))
///     }
/// }
///
/// let mut framer = Framer::default();
/// let bits = (0..16).rev().map(|n| 0x4489 >> n & 1 == 1);
/// let words: Vec<_> = bits.filter_map(|bit| framer.shift_in(bit).unwrap()).collect();
/// assert_eq!(words, [0x4489]);
/// ```
pub trait WordReader {
    /// A channel bit ends: it is shifted in, compared and counted, and whatever follows from it
    /// happens now. Called once every T, whether a transfer is under way or not, for a drive that
    /// turns as for none (then with the profile's `no_drive_read`; not at all if that is
    /// `nothing`).
    ///
    /// # Shape
    /// `bit`: true for a flux transition in the cell. A framer returns the word that completes
    /// with this bit, its low W bits, the first channel bit the highest; a reader with
    /// [`request`](Self::request) always returns `None`.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet, and no case can be judged.
    /// [`SeamError::Failed`] ends the run.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError>;

    /// The profile that the reader has, if it cannot take any: its choices are declared here, and
    /// it is judged by them unless the command line says otherwise.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// struct Eight;
    /// impl WordReader for Eight {
    ///     fn profile(&self) -> Option<Profile> {
    ///         Some(Profile { word_bits: 8, fifo_words: 1, ..Profile::sync_dma() })
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// assert_eq!(Eight.profile().unwrap().validate(), Ok(()));
    /// ```
    fn profile(&self) -> Option<Profile> {
        None
    }

    /// Power comes on. `profile` is the one that the reader is to behave by; one that
    /// [declares its own](Self::profile) may look away. Called once, before anything else, on a
    /// reader that has just been made; what you have to set up from the profile you set up here.
    ///
    /// # Errors
    /// [`SeamError::Failed`] when it cannot be what the profile asks; say which key. (There is no
    /// `NotSupported` here: by default it does nothing.)
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct AnyWidth { register: u64, counted: u16, word_bits: u16 }
    /// impl WordReader for AnyWidth {
    ///     fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
    ///         self.word_bits = profile.word_bits;
    ///         Ok(())
    ///     }
    ///     fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
    ///         self.register = self.register << 1 | u64::from(bit);
    ///         self.counted = (self.counted + 1) % self.word_bits;
    ///         let word = self.register & !(!0 << self.word_bits);
    ///         Ok((self.counted == 0).then_some(word))
    ///     }
    /// }
    /// let mut reader = AnyWidth::default();
    /// reader.power_up(&Profile { word_bits: 8, ..Profile::sync_dma() }).unwrap();
    /// let words = (0..16).filter_map(|_| reader.shift_in(true).unwrap()).count();
    /// assert_eq!(words, 2);
    /// ```
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        let _ = profile;
        Ok(())
    }

    /// The host asks for a read. It starts at once ([`Start::Now`](crate::Start::Now), raw,
    /// whatever hardware sync is), at the first match made after its acceptance
    /// ([`Start::Match`](crate::Start::Match); only with `set_hardware_sync`), or raw at the next
    /// [`index`](Self::index) ([`Start::Index`](crate::Start::Index); only with `index`).
    ///
    /// Acceptance: now, before the next `shift_in`, is 0 channel bits of slack. A profile with
    /// `slack_min` above 0 wants it that many bits later, so count them yourself. While another
    /// transfer is under way (it waits, or runs until its last word has been served), `start_busy`
    /// says what happens.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: the reader is a framer.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// use std::collections::VecDeque;
    /// /// Raw reads of free-running words, D = 3, with its own FIFO.
    /// #[derive(Default)]
    /// struct Raw { register: u16, counted: u32, transfer: u32, to_come: u32, to_serve: u32, fifo: VecDeque<u64> }
    /// impl WordReader for Raw {
    ///     fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
    ///         self.register = self.register << 1 | u16::from(bit);
    ///         self.counted = (self.counted + 1) % 16;
    ///         if self.counted == 0 && self.to_come > 0 && self.fifo.len() < 3 {
    ///             self.fifo.push_back(self.register.into());
    ///             self.to_come -= 1;
    ///         } // else nobody wants it, or it is lost: `overrun = lose-new`
    ///         Ok(None)
    ///     }
    ///     fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
    ///         if self.to_serve == 0 { // else busy: `start_busy = ignore`
    ///             self.transfer = request.transfer;
    ///             (self.to_come, self.to_serve) = (request.words, request.words);
    ///         }
    ///         Ok(Answer::Heard)
    ///     }
    ///     fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
    ///         if transfer != self.transfer {
    ///             return Ok(None);
    ///         }
    ///         let word = self.fifo.pop_front();
    ///         self.to_serve -= u32::from(word.is_some());
    ///         Ok(word)
    ///     }
    /// }
    /// let mut reader = Raw::default();
    /// reader.request(TransferRequest { transfer: 0, words: 1, start: Start::Now }).unwrap();
    /// (0..16).for_each(|n| assert_eq!(reader.shift_in(n == 15), Ok(None)));
    /// assert_eq!(reader.service(7), Ok(None));
    /// assert_eq!(reader.service(0), Ok(Some(1)));
    /// assert_eq!(reader.service(0), Ok(None));
    /// ```
    fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
        let _ = request;
        Err(SeamError::NotSupported)
    }

    /// The bus is this transfer's to move one word: the oldest one in the FIFO, as
    /// [`shift_in`](Self::shift_in) would return it. `None`, and nothing happens, if none waits, or
    /// if the transfer of that number does not run (it has ended, was refused, ignored, aborted, or
    /// is still waiting). A service that finds no word is lost and not remembered.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: the reader is a framer.
    ///
    /// # Example
    /// See [`request`](Self::request).
    fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
        let _ = transfer;
        Err(SeamError::NotSupported)
    }

    /// The index passes the head of the selected, spinning drive: the channel bit that begins now
    /// is the first of the turn, the next `shift_in` brings it.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: no transfer starts at the index.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct AtIndex { waits: bool, runs: bool }
    /// impl WordReader for AtIndex {
    ///     fn index(&mut self) -> Result<(), SeamError> {
    ///         self.runs |= std::mem::take(&mut self.waits); // with the counter as it stands
    ///         Ok(())
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = AtIndex { waits: true, runs: false };
    /// reader.index().unwrap();
    /// assert!(reader.runs);
    /// ```
    fn index(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The sync word becomes this: its low R bits, the others are 0. It takes effect now, or at the
    /// latest two channel bits from now, as `sync_write` says.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: it stays 4489.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// struct Comparator { word: u64 }
    /// impl WordReader for Comparator {
    ///     fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
    ///         self.word = word;
    ///         Ok(())
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = Comparator { word: 0x4489 };
    /// reader.set_sync_word(0x5224).unwrap();
    /// assert_eq!(reader.word, 0x5224);
    /// ```
    fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
        let _ = word;
        Err(SeamError::NotSupported)
    }

    /// Hardware sync is on from now on, or off: with it, a register that equals the sync word under
    /// the mask is a match, which starts a waiting read and zeroes the word counter; without it, it
    /// is none. Takes effect as [`set_sync_word`](Self::set_sync_word) does. `sync_on_live` and
    /// `sync_off_waiting` say what becomes of a transfer that is under way.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no comparator.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Switch { on: bool }
    /// impl WordReader for Switch {
    ///     fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
    ///         self.on = on;
    ///         Ok(())
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = Switch::default();
    /// reader.set_hardware_sync(true).unwrap();
    /// assert!(reader.on);
    /// ```
    fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
        let _ = on;
        Err(SeamError::NotSupported)
    }

    /// The channel bits come from elsewhere from now on: another drive, none, the other side, or
    /// another cylinder. The register is invalid until R bits have come since; the R-th one may
    /// match (`straddle = no`). Bits and counters run on. A motor that starts or stops is no such
    /// change.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: then nothing is asked of hardware sync either, for every
    /// program selects a drive.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Register { bits: u64, invalid_for: u32 }
    /// impl WordReader for Register {
    ///     fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
    ///         self.bits = self.bits << 1 | u64::from(bit);
    ///         self.invalid_for = self.invalid_for.saturating_sub(1);
    ///         Ok(None)
    ///     }
    ///     fn source_changed(&mut self) -> Result<(), SeamError> {
    ///         self.invalid_for = 16; // R
    ///         Ok(())
    ///     }
    /// }
    /// let mut reader = Register::default();
    /// reader.source_changed().unwrap();
    /// (0..15).for_each(|_| assert_eq!(reader.shift_in(true), Ok(None)));
    /// assert_eq!(reader.invalid_for, 1);
    /// ```
    fn source_changed(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The running or waiting transfer ends, if there is one: its words and its request are gone,
    /// there is no completion signal; register and counter run on.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no abort.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Fifo { words: Vec<u64>, running: Option<u32> }
    /// impl WordReader for Fifo {
    ///     fn abort(&mut self) -> Result<(), SeamError> {
    ///         self.words.clear();
    ///         self.running = None;
    ///         Ok(())
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = Fifo { words: vec![1, 2], running: Some(0) };
    /// reader.abort().unwrap();
    /// assert!(reader.words.is_empty() && reader.running.is_none());
    /// ```
    fn abort(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The controller is reset: an abort, and sync word, switch, flags, counter and refractory time
    /// are as at power-up. The register keeps its bits unless `reset_clears_register`, and its
    /// validity in any case.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no reset.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// struct Settings { word: u64, on: bool, counted: u32 }
    /// impl WordReader for Settings {
    ///     fn reset(&mut self) -> Result<(), SeamError> {
    ///         *self = Self { word: 0x4489, on: false, counted: 0 };
    ///         Ok(())
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = Settings { word: 0x5224, on: true, counted: 9 };
    /// reader.reset().unwrap();
    /// assert_eq!((reader.word, reader.on, reader.counted), (0x4489, false, 0));
    /// ```
    fn reset(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The host reads the status. A latched match flag with `flag = latched-clear-on-read` is
    /// cleared by it. Drive lines are not the reader's; those bits are left 0.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: no bit is driven.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// struct Busy(bool);
    /// impl WordReader for Busy {
    ///     fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
    ///         let set = Status::default().with(Status::BUSY, self.0);
    ///         Ok(ShownStatus { driven: Status::BUSY, set })
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// assert!(Busy(true).poll_status().unwrap().set.has(Status::BUSY));
    /// ```
    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        Err(SeamError::NotSupported)
    }

    /// The host reads the newest byte and its flag, in one; reading clears the flag. The byte is
    /// what the profile's `byte` says, aligned by the word counter.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no byte port.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Port { byte: PolledByte, bits: u8, counted: u32 }
    /// impl WordReader for Port {
    ///     fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
    ///         self.bits = self.bits << 1 | u8::from(bit);
    ///         self.counted = (self.counted + 1) % 8; // `byte = channel-8`
    ///         if self.counted == 0 {
    ///             self.byte = PolledByte { value: self.bits, fresh: true };
    ///         }
    ///         Ok(None)
    ///     }
    ///     fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
    ///         let seen = self.byte;
    ///         self.byte.fresh = false;
    ///         Ok(seen)
    ///     }
    /// }
    /// let mut reader = Port::default();
    /// (0..8).for_each(|n| assert_eq!(reader.shift_in(n == 7), Ok(None)));
    /// assert_eq!(reader.poll_byte(), Ok(PolledByte { value: 1, fresh: true }));
    /// assert_eq!(reader.poll_byte(), Ok(PolledByte { value: 1, fresh: false }));
    /// ```
    fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
        Err(SeamError::NotSupported)
    }

    /// Whether the completion signal came since this was asked last: once a transfer, at the event
    /// that `read_done` names. Asked after every other call, so the moment is that call's.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no such signal.
    ///
    /// ```
    /// use trackproof_contract::*;
    /// #[derive(Default)]
    /// struct Done { signal: bool }
    /// impl WordReader for Done {
    ///     fn done_signal(&mut self) -> Result<bool, SeamError> {
    ///         Ok(std::mem::take(&mut self.signal))
    ///     }
    /// #   fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> { Ok(None) }
    /// }
    /// let mut reader = Done { signal: true };
    /// assert_eq!((reader.done_signal(), reader.done_signal()), (Ok(true), Ok(false)));
    /// ```
    fn done_signal(&mut self) -> Result<bool, SeamError> {
        Err(SeamError::NotSupported)
    }

    /// Whether a match was signalled since this was asked last, for profiles with `flag = event`
    /// (others never do). Asked after every other call, before
    /// [`done_signal`](Self::done_signal).
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: there is no such signal.
    ///
    /// # Example
    /// As [`done_signal`](Self::done_signal).
    fn match_signal(&mut self) -> Result<bool, SeamError> {
        Err(SeamError::NotSupported)
    }
}
