//! Drives and tracks: fewer of them, the lowest numbers, the lowest places.

use super::{Reductions, edited};
use trackproof_contract::{Case, Operation};

/// One drive less: its lines and tracks go, or become another drive's.
pub(super) fn fewer(case: &Case) -> Reductions<'_> {
    let count = case.bench.drives.len();
    let gone = (0..if count > 1 { count } else { 0 }).rev();
    Box::new(gone.flat_map(move |drive| {
        let dropped = renumbered(case, |d| (d != drive).then_some(d - usize::from(d > drive)));
        let others = (0..count).filter(move |other| *other != drive);
        let merged = others.map(move |other| {
            let target = other - usize::from(other > drive);
            renumbered(case, |d| Some(if d == drive { target } else { d - usize::from(d > drive) }))
        });
        let turning = edited(&dropped, |case| {
            for operation in &mut case.program {
                if let Operation::Motor { mask } = operation {
                    *mask = (1 << case.bench.drives.len()) - 1;
                }
            }
        });
        [dropped, turning].into_iter().chain(merged)
    }))
}

/// Two drives exchanged with all that is theirs.
pub(super) fn exchanged(case: &Case) -> Reductions<'_> {
    let count = case.bench.drives.len();
    Box::new((0..count).flat_map(move |one| {
        (one + 1..count).map(move |two| {
            renumbered(case, |d| {
                Some(if d == one {
                    two
                } else if d == two {
                    one
                } else {
                    d
                })
            })
        })
    }))
}

/// The case with every drive's number mapped; a drive that maps to none goes, of two that map to
/// one number the lower keeps its bench and its tracks where both have one.
fn renumbered(case: &Case, to: impl Fn(usize) -> Option<usize>) -> Case {
    edited(case, |case| {
        let count = case.bench.drives.len();
        let mask = |mask: u8| {
            let lines = (0..count).filter(|d| mask >> d & 1 == 1).filter_map(&to);
            lines.fold(0, |lines, d| lines | 1 << d)
        };
        for operation in &mut case.program {
            if let Operation::Select { mask: lines } | Operation::Motor { mask: lines } = operation
            {
                *lines = mask(*lines);
            }
        }
        let mut drives = vec![None; count];
        for (d, drive) in case.bench.drives.drain(..).enumerate() {
            if let Some(target) = to(d) {
                drives[target].get_or_insert(drive);
            }
        }
        case.bench.drives = drives.into_iter().flatten().collect();
        let mut tracks: Vec<trackproof_contract::Track> = Vec::new();
        for mut track in std::mem::take(&mut case.tracks) {
            let Some(target) = to(usize::from(track.drive)) else { continue };
            track.drive = target as u8;
            let turn = case.bench.drives[target].turn_bits as usize;
            let place = (track.drive, track.cylinder, track.side);
            let taken = tracks.iter().any(|t| (t.drive, t.cylinder, t.side) == place);
            let fits = track.medium.layout().is_some() || track.medium.track().len() == turn;
            if !taken && fits {
                tracks.push(track);
            }
        }
        tracks.sort_by_key(|track| (track.drive, track.cylinder, track.side));
        case.tracks = tracks;
    })
}

/// One track less.
pub(super) fn fewer_tracks(case: &Case) -> Reductions<'_> {
    Box::new((0..case.tracks.len()).rev().map(move |t| {
        edited(case, |case| {
            case.tracks.remove(t);
        })
    }))
}

/// Tracks in the order of their places, and places moved together with what leads there.
pub(super) fn lower_places(case: &Case) -> Reductions<'_> {
    let sorted = edited(case, |case| {
        case.tracks.sort_by_key(|track| (track.drive, track.cylinder, track.side));
    });
    let cylinders = (0..case.bench.drives.len()).flat_map(move |d| {
        let far = case.bench.drives[d].cylinder;
        [far, 1].into_iter().filter(move |by| *by <= far).map(move |by| {
            edited(case, |case| {
                case.bench.drives[d].cylinder -= by;
                for track in case.tracks.iter_mut().filter(|track| usize::from(track.drive) == d) {
                    track.cylinder = track.cylinder.saturating_sub(by);
                }
            })
        })
    });
    let sides = edited(case, |case| {
        for track in &mut case.tracks {
            track.side ^= 1;
        }
        for operation in &mut case.program {
            if let Operation::Side { side } = operation {
                *side ^= 1;
            }
        }
    });
    Box::new(std::iter::once(sorted).chain(cylinders).chain([sides]))
}

/// One operation that leads to a track less, and the track moved to where the head then is.
pub(super) fn shorter_ways(case: &Case) -> Reductions<'_> {
    Box::new((0..case.program.len()).rev().flat_map(move |i| {
        let plain = edited(case, |case| {
            case.program.remove(i);
        });
        let mut variants = Vec::new();
        match case.program[i] {
            Operation::Side { .. } => variants.push(edited(&plain, |case| {
                for track in &mut case.tracks {
                    track.side ^= 1;
                }
            })),
            Operation::Step { .. } => variants.extend([-1_i8, 1].map(|by| {
                edited(&plain, |case| {
                    for track in &mut case.tracks {
                        track.cylinder = track.cylinder.saturating_add_signed(by);
                    }
                })
            })),
            _ => {}
        }
        variants
    }))
}
