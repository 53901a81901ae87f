//! `merge`: the folders of several machines as those of one.

use crate::Exit;
use crate::arguments::Merge;
use crate::failure::Failure;
use crate::overnight::Listing;
use crate::progress::Progress;
use trackproof::overnight::{Folder, MergeError, Merged, merge as put_together};

/// Most missing shards that are named one by one.
const MOST_NAMED: usize = 10;

/// Runs the verb.
pub(crate) fn merge(given: &Merge) -> Result<Exit, Failure> {
    let mut known = given.failing.known()?;
    let folder = Folder::open(&given.dir)?;
    let Merged { implementation, profile_name, profile, seed, missing, outcome } =
        put_together(&given.parts, &folder)?;
    let progress = Progress::new(None);
    if !missing.is_empty() {
        let named: Vec<String> = missing.iter().take(MOST_NAMED).map(ToString::to_string).collect();
        let more = if missing.len() > MOST_NAMED { ", …" } else { "" };
        progress.line(&format!(
            "trackproof: {} of the run's shards missing: {}{more}",
            missing.len(),
            named.join(", ")
        ));
    }
    for trouble in folder.troubles() {
        progress.line(&format!("trackproof: {trouble}"));
    }
    known.retain(|known| known.profile == profile_name);
    let listing = Listing {
        implementation: &implementation,
        profile_name: &profile_name,
        profile: &profile,
        seed,
        folder: &folder,
        known,
        strict: given.failing.strict,
    };
    let short = listing.of(&outcome);
    short.write(&progress);
    short.print(given.format.is)?;
    Ok(short.exit)
}

impl From<MergeError> for Failure {
    fn from(error: MergeError) -> Self {
        Self::usage(error)
    }
}
