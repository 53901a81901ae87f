//! The seam of a data separator: flux transitions in, channel bits out.

use crate::{ChannelBits, Profile, SeamError};

/// The part of a controller that makes channel bits of read data.
///
/// You write [`advance`](Self::advance); we add the flux: what was written, the speed at which it
/// passes, and the push of neighbours. It is called in the order of time, like hardware that is
/// looked at now and then.
///
/// # What it is held to
///
/// One of the profile's channel bits lasts T (`channel_bit_ns`), its recording gives the legal
/// intervals: 2 to 4 channel bits in MFM, 1 to 2 in FM. Once it has had `lock_bits` channel bits of
/// legal flux it must give every channel bit as it was written (`separator.legal`): at speeds
/// within 3 % of nominal, and while the speed steps, ramps or swings between cells of 0.892 and
/// 1.112 of nominal (ISO 8630-3, 4.4.2 and 4.4.3), also where neighbours push transitions by 5 % of
/// a bit cell. Flux that leaves its `window`, or that changes its speed by more than its
/// `rate_limit`, is not asked for. Behind what is no legal flux, an erased stretch or a splice, it
/// must be right again after `lock_bits` of a field of zeros (`separator.recover`).
///
/// What it gives before that, and of illegal flux, may be anything, and about as many bits as have
/// passed. How late it gives its bits is its own affair.
///
/// # Example
///
/// Fixed thresholds, complete. They fail where short cells and pushed transitions come together.
///
/// ```
/// use trackproof_contract::{ChannelBits, DataSeparator, SeamError};
///
/// #[derive(Default)]
/// struct Thresholds {
///     last_ns: Option<u64>,
/// }
///
/// impl DataSeparator for Thresholds {
///     fn advance(
///         &mut self,
///         _until_ns: u64,
///         transitions_ns: &[u64],
///         bits: &mut ChannelBits,
///     ) -> Result<(), SeamError> {
///         for &at_ns in transitions_ns {
///             if let Some(last_ns) = self.last_ns.replace(at_ns) {
///                 let cells = ((at_ns - last_ns + 1_000) / 2_000).clamp(1, 64);
///                 bits.push(1, cells as usize);
///             }
///         }
///         Ok(())
///     }
/// }
///
/// let mut bits = ChannelBits::new();
/// Thresholds::default().advance(20_000, &[1_000, 5_100, 13_000], &mut bits).unwrap();
/// assert_eq!((bits.len(), bits.window(0, 6)), (6, 0b010001));
/// ```
pub trait DataSeparator {
    /// The profile that it has, if it cannot take any. Of its keys these matter to a separator:
    /// `recording`, `channel_bit_ns`, `window`, `rate_limit`, `lock_bits`.
    fn profile(&self) -> Option<Profile> {
        None
    }

    /// Power comes on. Called once, before anything else, on a separator that has just been made.
    ///
    /// # Errors
    /// [`SeamError::Failed`] when it cannot be what the profile asks; say which key.
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        let _ = profile;
        Ok(())
    }

    /// Time has come to `until_ns`. Appends the channel bits that are known now to `bits`, the
    /// oldest first.
    ///
    /// # Shape
    /// `transitions_ns`: every transition since the call before, in rising order, none later than
    /// `until_ns`; nanoseconds since power-up. `bits`: empty. All calls of a case together may give
    /// twice as many bits as have passed, and a thousand more.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet, and no case can be judged.
    /// [`SeamError::Failed`] ends the run.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn advance(
        &mut self,
        until_ns: u64,
        transitions_ns: &[u64],
        bits: &mut ChannelBits,
    ) -> Result<(), SeamError>;
}
