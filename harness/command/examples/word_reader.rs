//! A reader of channel bits with the one method that it must have: README's first example.
#![forbid(unsafe_code)]

use std::process::ExitCode;
use trackproof_command::{Registry, run};
use trackproof_contract::{SeamError, WordReader};

/// Hands out a word every sixteen channel bits, counted from power-up on.
#[derive(Default)]
struct Mine {
    shift_register: u16,
    counted: u32,
}

impl WordReader for Mine {
    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        self.shift_register = self.shift_register << 1 | u16::from(bit);
        self.counted = (self.counted + 1) % 16;
        Ok((self.counted == 0).then_some(self.shift_register.into()))
    }
}

fn main() -> ExitCode {
    run(Registry::new().with("mine", Mine::default))
}
