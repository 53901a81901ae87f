//! Which profile an implementation is held to.

use crate::failure::Failure;
use crate::implementation::Subject;
use trackproof::profile_file;
use trackproof_contract::Profile;

/// The profile that was named, else the one that the implementation declares, else `sync-dma`;
/// with its name. Nothing is inferred: choices that differ from it are deviations.
pub(crate) fn choose(
    named: Option<&str>,
    subject: &Subject<'_>,
) -> Result<(String, Profile), Failure> {
    let Subject { declared, made_for, .. } = subject;
    of(named, declared.as_ref(), made_for.as_ref())
}

fn of(
    named: Option<&str>,
    declared: Option<&Profile>,
    made_for: Option<&Profile>,
) -> Result<(String, Profile), Failure> {
    match (named, declared.or(made_for)) {
        (Some(named), _) => {
            let (name, profile) = profile_file::load(named)?;
            if let Some(declared) = declared
                && *declared != profile
            {
                eprintln!(
                    "trackproof: the implementation declares other values than profile {name} for \
                     {}; they will show as deviations",
                    differing_keys(declared, &profile)
                );
            }
            Ok((name, profile))
        }
        (None, Some(own)) => Ok((name_of(own), own.clone())),
        (None, None) => Ok((Profile::BUILT_IN[0].into(), Profile::sync_dma())),
    }
}

/// The built-in name of a profile, or words for one that has none.
pub(crate) fn name_of(profile: &Profile) -> String {
    Profile::BUILT_IN
        .iter()
        .find(|name| Profile::built_in(name).as_ref() == Some(profile))
        .map_or_else(|| "of its own".into(), |name| (*name).into())
}

/// The keys in which two profiles differ, each with both values.
pub(crate) fn differing_keys(declared: &Profile, other: &Profile) -> String {
    let keys: Vec<String> = declared
        .differences(other)
        .map(|key| format!("{} ({}, not {})", key.name, key.text(declared), key.text(other)))
        .collect();
    keys.join(", ")
}

#[cfg(test)]
mod tests {
    use super::of;
    use trackproof_contract::Profile;

    fn name(named: Option<&str>, declared: Option<&Profile>, made_for: Option<&Profile>) -> String {
        of(named, declared, made_for).unwrap().0
    }

    #[test]
    fn named_goes_before_declared_before_made_for_before_sync_dma() {
        let bytes = Profile::byte_stream();
        let own = Profile { fifo_words: 7, ..Profile::byte_stream() };
        assert_eq!(name(None, None, None), "sync-dma");
        assert_eq!(name(None, None, Some(&bytes)), "byte-stream");
        assert_eq!(name(None, Some(&own), Some(&bytes)), "of its own");
        assert_eq!(name(Some("sync-dma"), Some(&own), None), "sync-dma");
        assert!(of(Some("no-such"), None, None).unwrap_err().text.contains("no built-in profile"));
    }
}
