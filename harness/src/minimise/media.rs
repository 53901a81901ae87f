//! Media: plainer kinds of what is recorded.

use super::{Reductions, edited};
use trackproof_contract::{Case, ChannelKind, Medium};

/// Tracks that keep any string in place of those that keep what a real medium would: all of them,
/// then one by one.
pub(super) fn plainer(case: &Case) -> Reductions<'_> {
    let real =
        |medium: &Medium| matches!(medium, Medium::ChannelBits { kind: ChannelKind::Real, .. });
    let places: Vec<usize> =
        (0..case.tracks.len()).filter(|t| real(&case.tracks[*t].medium)).collect();
    let all = (places.len() > 1).then(|| places.clone());
    let each = places.into_iter().map(|t| vec![t]);
    Box::new(all.into_iter().chain(each).map(move |places| {
        edited(case, |case| {
            for t in places {
                if let Medium::ChannelBits { kind, .. } = &mut case.tracks[t].medium {
                    *kind = ChannelKind::Image;
                }
            }
        })
    }))
}
