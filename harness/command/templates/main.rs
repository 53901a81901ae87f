//! A word reader that has nothing yet: channel bits in, words out.
//!
//! A method that says `NotSupported` is a capability that is missing: cases that need it are
//! skipped and counted, and no rule that needs it is held against the reader. Write them one by
//! one. What each must do stands in `cargo doc --open -p trackproof-contract`, at `WordReader`.

use std::process::ExitCode;
use trackproof_command::{Registry, run};
use trackproof_contract::{
    Answer, PolledByte, SeamError, ShownStatus, TransferRequest, WordReader,
};

#[derive(Default)]
struct Mine {}

impl WordReader for Mine {
    // A channel bit ends. Hand out the word that completes with it; once `request` is there, words
    // leave by `service` alone.
    // @shift_in@
    fn shift_in(&mut self, _bit: bool) -> Result<Option<u64>, SeamError> {
        Err(SeamError::NotSupported)
    }

    // The host asks for a read; count its words and keep them in a FIFO. Goes with `service`.
    // @request@
    fn request(&mut self, _request: TransferRequest) -> Result<Answer, SeamError> {
        Err(SeamError::NotSupported)
    }

    // The host takes a word, if one waits. Goes with `request`.
    // @service@
    fn service(&mut self, _transfer: u32) -> Result<Option<u64>, SeamError> {
        Err(SeamError::NotSupported)
    }

    // Hardware sync goes on or off. Goes with `request` and `source_changed`.
    // @set_hardware_sync@
    fn set_hardware_sync(&mut self, _on: bool) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The bits come from elsewhere from now on: the register is invalid for R bits.
    // @source_changed@
    fn source_changed(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The sync word changes.
    // @set_sync_word@
    fn set_sync_word(&mut self, _word: u64) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The index passes: reads that start there.
    // @index@
    fn index(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The transfer ends at once.
    // @abort@
    fn abort(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The controller is reset.
    // @reset@
    fn reset(&mut self) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }

    // The host reads the status: done, busy, error, match, as many of them as you drive.
    // @poll_status@
    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        Err(SeamError::NotSupported)
    }

    // The host reads the newest byte with its flag.
    // @poll_byte@
    fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
        Err(SeamError::NotSupported)
    }

    // Whether completion was signalled since this was asked last.
    // @done_signal@
    fn done_signal(&mut self) -> Result<bool, SeamError> {
        Err(SeamError::NotSupported)
    }

    // Whether a match was signalled since this was asked last (profiles with flag = event).
    // @match_signal@
    fn match_signal(&mut self) -> Result<bool, SeamError> {
        Err(SeamError::NotSupported)
    }
}

fn main() -> ExitCode {
    run(Registry::new().with("mine", Mine::default))
}
