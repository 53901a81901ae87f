//! Profiles that differ from the built-in ones in a few keys.

use trackproof_contract::Profile;

/// The profile of `sync-dma` with other values, each as its TOML has it.
///
/// # Panics
///
/// As [`with`].
#[must_use]
pub fn sync_dma_with(values: &[(&str, &str)]) -> Profile {
    with(Profile::sync_dma(), values)
}

/// A profile with other values.
///
/// # Panics
///
/// If a key or a value does not exist, or the values do not go together.
#[must_use]
pub fn with(mut profile: Profile, values: &[(&str, &str)]) -> Profile {
    for (name, value) in values {
        Profile::key(name).expect("a key").set_text(&mut profile, value).expect("a value");
    }
    profile.validate().expect("a profile");
    profile
}
