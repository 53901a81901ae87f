//! A case's hash: index, case, observation, verdict. Hashes add up, so order does not matter.

use crate::examine::Examined;
use crate::verdict::Verdict;
use std::hash::{Hash, Hasher};
use trackproof_contract::{Case, Observation};
use xxhash_rust::xxh3::Xxh3;

/// The hash of one examined case.
#[must_use]
pub fn of(index: u64, case: &Case, observation: &Observation, examined: &Examined) -> u64 {
    let mut hasher = Xxh3::new();
    index.hash(&mut hasher);
    case.hash(&mut hasher);
    observation.hash(&mut hasher);
    match &examined.verdict {
        Verdict::Conforms => 0_u8.hash(&mut hasher),
        Verdict::Deviates(deviation) => {
            1_u8.hash(&mut hasher);
            deviation.rule.id.hash(&mut hasher);
            deviation.kind.hash(&mut hasher);
        }
        Verdict::Misreads(found) => {
            5_u8.hash(&mut hasher);
            found.rule.id.hash(&mut hasher);
            found.kind.hash(&mut hasher);
        }
        Verdict::Stops(stop) => {
            4_u8.hash(&mut hasher);
            stop.kind().hash(&mut hasher);
        }
        Verdict::Inconclusive(_) => 2_u8.hash(&mut hasher),
        Verdict::Skipped(capability) => {
            3_u8.hash(&mut hasher);
            capability.hash(&mut hasher);
        }
        Verdict::Beside => 4_u8.hash(&mut hasher),
    }
    hasher.finish()
}
