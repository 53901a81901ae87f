//! A data separator made by a library.

use crate::file::File;
use crate::part::{Part, PartLibrary, protocol};
use crate::raw::TP_MORE;
use crate::{LoadError, Make, raw};
use std::fmt;
use std::sync::Arc;
use trackproof_contract::{ChannelBits, DataSeparator, Profile, SeamError};

/// Channel bits that a library may hand over at once.
const CAPACITY: u32 = 4_096;

/// Most times that a library may say there are more, with one time: a gap of a minute is a few
/// hundred thousand channel bits, and a case takes no more than twice its own.
const MOST_CALLS: u32 = 10_000;

/// A shared library that has a data separator, by `tp_data_separator_entry` of `trackproof.h`.
pub struct DataSeparatorLibrary(PartLibrary<raw::DataSeparator>);

impl DataSeparatorLibrary {
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        PartLibrary::of(file).map(Self)
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.0.name()
    }

    /// What makes separators, a new one for each case; `options` are words of the library's own.
    ///
    /// # Errors
    /// As [`Library::create`](crate::Library::create): one is made at once.
    pub fn maker(&self, options: Option<&str>) -> Result<Make<CDataSeparator>, LoadError> {
        let maker = self.0.maker(options)?;
        Ok(Arc::new(move || CDataSeparator {
            part: maker.make(),
            profile: maker.profile().cloned(),
            bytes: vec![0; CAPACITY as usize / 8],
        }))
    }
}

impl fmt::Debug for DataSeparatorLibrary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("DataSeparatorLibrary").field(&self.name()).finish()
    }
}

/// One data separator, as [`DataSeparatorLibrary::maker`] makes it; dropping it destroys it.
pub struct CDataSeparator {
    part: Part<raw::DataSeparator>,
    profile: Option<Profile>,
    bytes: Vec<u8>,
}

impl DataSeparator for CDataSeparator {
    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.part.power_up(|table| table.power_up, profile)
    }

    fn advance(
        &mut self,
        until_ns: u64,
        transitions_ns: &[u64],
        bits: &mut ChannelBits,
    ) -> Result<(), SeamError> {
        let (function, part) = self.part.function(|table| table.advance)?;
        let mut given = transitions_ns;
        for _ in 0..MOST_CALLS {
            let times = if given.is_empty() { std::ptr::null() } else { given.as_ptr() };
            let mut count = 0;
            self.bytes.fill(0);
            // SAFETY: the part is alive; the times are as many as the call says, there is room for
            // as many bits, and both are good until this returns.
            let code = unsafe {
                function(
                    part,
                    until_ns,
                    times,
                    given.len() as u32,
                    self.bytes.as_mut_ptr(),
                    CAPACITY,
                    &raw mut count,
                )
            };
            let more = self.part.answer("advance", code, Some((TP_MORE, "more")))?;
            if count > CAPACITY {
                return Err(protocol(format!(
                    "`advance` set *bit_count to {count}, the limit is the capacity, {CAPACITY}"
                )));
            }
            for (byte, left) in self.bytes.iter().zip((1..=count as usize).rev().step_by(8)) {
                let take = left.min(8);
                bits.push(u64::from(*byte) >> (8 - take), take);
            }
            if !more {
                return Ok(());
            }
            given = &[];
        }
        Err(protocol(format!(
            "`advance` answered {TP_MORE} (more) {MOST_CALLS} times, the limit, with one time"
        )))
    }
}

impl fmt::Debug for CDataSeparator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CDataSeparator").finish_non_exhaustive()
    }
}
