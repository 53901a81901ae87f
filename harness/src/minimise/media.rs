//! Media: plainer kinds of what is recorded, and images of less.

use super::reliefs::roomy;
use super::{Reductions, edited};
use crate::generate::image_turn;
use trackproof_contract::{Case, ChannelBits, ChannelKind, Medium, SectorLayout};

/// Channel bits of a byte: an image's turn is a whole number of them.
const BYTE_BITS: usize = 16;

/// Whether a drive is backed by an image of sectors.
pub(super) fn is_image(case: &Case, drive: usize) -> bool {
    case.tracks
        .iter()
        .any(|track| usize::from(track.drive) == drive && track.medium.layout().is_some())
}

/// Tracks that keep any string in place of those that keep what a real medium would, all of them
/// and one by one; channel bits in place of an image's sectors: those of its stream, or zeros.
pub(super) fn plainer(case: &Case) -> Reductions<'_> {
    let real =
        |medium: &Medium| matches!(medium, Medium::ChannelBits { kind: ChannelKind::Real, .. });
    let places: Vec<usize> =
        (0..case.tracks.len()).filter(|t| real(&case.tracks[*t].medium)).collect();
    let all = (places.len() > 1).then(|| places.clone());
    let each = places.into_iter().map(|t| vec![t]);
    let kept = all.into_iter().chain(each).map(move |places| {
        edited(case, |case| {
            for t in places {
                if let Medium::ChannelBits { kind, .. } = &mut case.tracks[t].medium {
                    *kind = ChannelKind::Image;
                }
            }
        })
    });
    let images = (0..case.bench.drives.len()).filter(|drive| is_image(case, *drive));
    let streams = images.flat_map(move |drive| {
        let turn_bits = case.bench.drives[drive].turn_bits as usize;
        [false, true].map(|stream| {
            edited(case, |case| {
                for track in &mut case.tracks {
                    if usize::from(track.drive) == drive {
                        let bits = match stream {
                            true => image_turn(track, turn_bits),
                            false => None,
                        };
                        let bits = bits.unwrap_or_else(|| ChannelBits::zeros(turn_bits));
                        track.medium = Medium::image_bits(bits);
                    }
                }
            })
        })
    });
    Box::new(kept.chain(streams))
}

/// Images of fewer sectors, of smaller ones, of a simpler layout, and no longer turns than they
/// take.
pub(super) fn smaller_images(case: &Case) -> Reductions<'_> {
    let images = (0..case.bench.drives.len()).filter(|drive| is_image(case, *drive));
    Box::new(images.flat_map(move |drive| {
        let on = |track: &&trackproof_contract::Track| usize::from(track.drive) == drive;
        let layout = case.tracks.iter().filter(on).find_map(|track| track.medium.layout());
        let layouts = layout.map(simpler_layouts).unwrap_or_default();
        let turn = case.bench.drives[drive].turn_bits as usize;
        let smaller = layouts.into_iter().flat_map(move |layout| {
            let used = layout.used_bits();
            [used, turn].into_iter().filter(move |turn| *turn >= used).flat_map(move |turn| {
                let less = with_layout(case, drive, layout, turn);
                [roomy(&less), less]
            })
        });
        let used = layout.map_or(turn, |layout| layout.used_bits());
        let steps = (1..4).map(move |bytes| turn.saturating_sub(bytes * BYTE_BITS));
        let halves = [used, used + (turn - used.min(turn)) / 2 / BYTE_BITS * BYTE_BITS];
        let shorter = halves.into_iter().chain(steps).filter(move |to| *to >= used && *to < turn);
        let shorter = shorter.map(move |turn| {
            edited(case, |case| {
                let drive = &mut case.bench.drives[drive];
                drive.turn_bits = turn as u32;
                drive.start_bit %= drive.turn_bits.max(1);
            })
        });
        smaller.chain(shorter)
    }))
}

/// Layouts of fewer and smaller fields, the smallest first.
fn simpler_layouts(layout: SectorLayout) -> Vec<SectorLayout> {
    let mut layouts = Vec::new();
    match layout {
        SectorLayout::FullTrack { sectors, sector_bytes } => {
            layouts.extend(
                below(sectors.into()).map(|sectors| SectorLayout::FullTrack {
                    sectors: sectors as u8,
                    sector_bytes,
                }),
            );
            // Fields are split into halves: whole bytes each.
            let sizes = below(sector_bytes / 2).map(|half| 2 * half);
            layouts.extend(
                sizes.map(|sector_bytes| SectorLayout::FullTrack { sectors, sector_bytes }),
            );
        }
        SectorLayout::SoftSector {
            sectors,
            size_code,
            gap_4a_bytes,
            gap_1_bytes,
            gap_2_bytes,
            gap_3_bytes,
        } => {
            let soft =
                |sectors,
                 size_code,
                 [gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes]: [u16; 4]| {
                    SectorLayout::SoftSector {
                        sectors,
                        size_code,
                        gap_4a_bytes,
                        gap_1_bytes,
                        gap_2_bytes,
                        gap_3_bytes,
                    }
                };
            layouts.push(SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 });
            layouts.push(SectorLayout::FullTrack { sectors, sector_bytes: 2 });
            let gaps = [gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes];
            layouts
                .extend(below(sectors.into()).map(|sectors| soft(sectors as u8, size_code, gaps)));
            layouts.extend((0..size_code).map(|size_code| soft(sectors, size_code, gaps)));
            layouts.push(soft(sectors, size_code, [0; 4]));
            for place in 0..4 {
                for gap in [0, 1, gaps[place] / 2, gaps[place].saturating_sub(1)] {
                    let mut fewer = gaps;
                    fewer[place] = gap;
                    layouts.push(soft(sectors, size_code, fewer));
                }
            }
        }
        _ => {}
    }
    layouts.retain(|other| *other != layout);
    layouts
}

/// Numbers from 1 to under `value`: the small ones, halves, one less.
fn below(value: u16) -> impl Iterator<Item = u16> {
    let small = [1, 2, 3, 4, value / 2, value - value / 4, value.saturating_sub(1)];
    small.into_iter().filter(move |one| *one > 0 && *one < value)
}

/// The drive's tracks in another layout, as much of each sector's data as that holds.
fn with_layout(case: &Case, drive: usize, layout: SectorLayout, turn_bits: usize) -> Case {
    edited(case, |case| {
        let bits = layout.sector_bytes() * 8;
        for track in case.tracks.iter_mut().filter(|track| usize::from(track.drive) == drive) {
            let Medium::Image { layout: old, sectors } = &track.medium else { continue };
            let had = old.sector_bytes() * 8;
            let mut data = ChannelBits::new();
            for sector in 0..layout.sectors() {
                // Past the old sectors' end zeros are read.
                let kept = bits.min(had);
                (0..bits).for_each(|bit| {
                    let one = if bit < kept { sectors.window(sector * had + bit, 1) } else { 0 };
                    data.push(one, 1);
                });
            }
            track.medium = Medium::Image { layout, sectors: data };
        }
        let drive = &mut case.bench.drives[drive];
        drive.turn_bits = turn_bits as u32;
        drive.start_bit %= drive.turn_bits.max(1);
    })
}
