//! Finding the sectors of a track again, at any phase, and naming what is wrong with them.

use super::field::{FoundMark, ReadField, find_marks, read_address, read_data};
use super::{Address, FieldKind, Layout};
use std::collections::BTreeSet;
use std::fmt;
use trackproof_contract::ChannelBits;

/// A sector with its identifier and its data field.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct FoundSector {
    /// What its address field says.
    pub address: Address,
    /// Whether the address's check is right.
    pub address_check_right: bool,
    /// Whether the data stand behind a deleted data mark.
    pub deleted: bool,
    /// The data.
    pub data: Vec<u8>,
    /// Whether the data's check is right.
    pub data_check_right: bool,
    /// The first channel bit of its identifier mark.
    pub start_bit: usize,
}

/// Something that is not as the layout asks, and where.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Defect {
    /// What.
    pub kind: DefectKind,
    /// In which field.
    pub field: FieldKind,
    /// The sector's number, where one could be read.
    pub sector: Option<u8>,
    /// The channel bit, from the given track's first; 0 where a sector is missing.
    pub at_bit: usize,
}

/// What can be wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DefectKind {
    /// A check that is not its field's.
    Check {
        /// As recorded.
        recorded: u16,
        /// As computed over the field.
        computed: u16,
    },
    /// A clock bit that the code does not ask for.
    Clock,
    /// A size code that is not the layout's.
    SizeCode {
        /// As recorded.
        recorded: u8,
        /// The layout's.
        wanted: u8,
    },
    /// An identifier that no data field follows in reach.
    NoData,
    /// A data field that no identifier precedes in reach.
    NoIdentifier,
    /// A sector number with a right check, for the second time on this track.
    Twice,
    /// A sector of the layout that has no identifier with a right check.
    Missing,
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(sector) = self.sector {
            write!(f, "sector {sector}, ")?;
        }
        f.write_str(self.field.name())?;
        if self.kind != DefectKind::Missing {
            write!(f, " at channel bit {}", self.at_bit)?;
        }
        f.write_str(": ")?;
        match self.kind {
            DefectKind::Check { recorded, computed } => {
                write!(f, "recorded {recorded:04x}, the field's own check is {computed:04x}")
            }
            DefectKind::Clock => f.write_str("a clock bit that the code does not ask for"),
            DefectKind::SizeCode { recorded, wanted } => {
                write!(f, "size code {recorded}, the layout has {wanted}")
            }
            DefectKind::NoData => f.write_str("no data mark follows in reach"),
            DefectKind::NoIdentifier => f.write_str("no identifier comes before it in reach"),
            DefectKind::Twice => f.write_str("the track has this sector already"),
            DefectKind::Missing => f.write_str("none on this track has a right check"),
        }
    }
}

/// What a track holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DecodedTrack {
    /// The sectors, in the order of their identifiers.
    pub sectors: Vec<FoundSector>,
    /// All that is wrong, in the order of finding; sectors that are missing come last.
    pub defects: Vec<Defect>,
}

/// Finds the sectors of a whole track, which is a circle: any channel bit may come first.
///
/// A sector with a wrong check is found all the same, and the check is a defect. Gaps are not
/// looked at.
///
/// ```
/// use trackproof_model::layout::{Layout, SectorData, decode, encode};
/// let layout = Layout::MFM_9_BY_512;
/// let track = encode(&layout, 5, 1, &[SectorData::Kept(&[0xe5; 512]); 9])?;
/// let found = decode(&track.bits.rotated(33_333), &layout);
/// assert_eq!(found.sectors.len(), 9);
/// assert!(found.defects.is_empty());
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
#[must_use]
pub fn decode(track: &ChannelBits, layout: &Layout) -> DecodedTrack {
    if track.is_empty() {
        return Findings::default().complete(layout);
    }
    Reading::new(track, layout).findings().complete(layout)
}

/// What has been found so far.
#[derive(Default)]
struct Findings {
    track: DecodedTrack,
    /// Addresses with a right check.
    identified: BTreeSet<Address>,
}

impl Findings {
    fn complete(mut self, layout: &Layout) -> DecodedTrack {
        for sector in 1..=layout.sectors {
            if !self.identified.iter().any(|address| address.sector == sector) {
                self.track.defects.push(Defect {
                    kind: DefectKind::Missing,
                    field: FieldKind::IdentifierMark,
                    sector: Some(sector),
                    at_bit: 0,
                });
            }
        }
        self.track
    }
}

/// A track, lengthened so far round that each sector stands in it in one piece.
struct Reading<'a> {
    layout: &'a Layout,
    turn_bits: usize,
    bits: ChannelBits,
    marks: Vec<FoundMark>,
}

impl<'a> Reading<'a> {
    fn new(track: &ChannelBits, layout: &'a Layout) -> Self {
        let mut bits = track.clone();
        bits.push_cyclic(track, 0, layout.sector_read_bits() + layout.data_mark_reach_bits());
        let marks = find_marks(&bits, layout);
        Self { layout, turn_bits: track.len(), bits, marks }
    }

    fn findings(&self) -> Findings {
        let mut found = Findings::default();
        let mut used = Vec::new();
        for (place, mark) in self.marks.iter().enumerate() {
            if mark.is_identifier() && mark.start_bit < self.turn_bits {
                used.extend(self.sector(mark, self.marks.get(place + 1), &mut found));
            }
        }
        for mark in &self.marks {
            let unused = !mark.is_identifier() && !used.contains(&mark.start_bit);
            if unused && mark.start_bit < self.turn_bits {
                found.track.defects.push(Defect {
                    kind: DefectKind::NoIdentifier,
                    field: FieldKind::DataMark,
                    sector: None,
                    at_bit: mark.start_bit,
                });
            }
        }
        found
    }

    /// Reads one sector; gives back where in the turn its data mark begins.
    fn sector(
        &self,
        mark: &FoundMark,
        next: Option<&FoundMark>,
        found: &mut Findings,
    ) -> Option<usize> {
        let (address, field) = read_address(mark, &self.bits, self.layout)?;
        let sector = Some(address.sector);
        let again = field.check_is_right() && !found.identified.insert(address);
        let mut defect = |kind, field, at_bit: usize| {
            let at_bit = at_bit % self.turn_bits;
            found.track.defects.push(Defect { kind, field, sector, at_bit });
        };
        self.judge(mark, &field, FieldKind::Address, FieldKind::AddressCheck, &mut defect);
        if address.size_code != self.layout.size_code {
            let (recorded, wanted) = (address.size_code, self.layout.size_code);
            defect(DefectKind::SizeCode { recorded, wanted }, FieldKind::Address, mark.end_bit);
        }
        if again {
            defect(DefectKind::Twice, FieldKind::IdentifierMark, mark.start_bit);
        }
        let reach = field.end_bit + self.layout.data_mark_reach_bits();
        let data_mark = next.filter(|next| !next.is_identifier() && next.end_bit <= reach);
        let Some((data_mark, data)) =
            data_mark.and_then(|mark| Some((mark, read_data(mark, &self.bits, self.layout)?)))
        else {
            defect(DefectKind::NoData, FieldKind::IdentifierMark, mark.start_bit);
            return None;
        };
        self.judge(data_mark, &data, FieldKind::Data, FieldKind::DataCheck, &mut defect);
        found.track.sectors.push(FoundSector {
            address,
            address_check_right: field.check_is_right(),
            deleted: data_mark.is_deleted_data(),
            data_check_right: data.check_is_right(),
            data: data.bytes,
            start_bit: mark.start_bit,
        });
        Some(data_mark.start_bit % self.turn_bits)
    }

    /// Says what is wrong with a field and its check.
    fn judge(
        &self,
        mark: &FoundMark,
        field: &ReadField,
        kind: FieldKind,
        check: FieldKind,
        defect: &mut impl FnMut(DefectKind, FieldKind, usize),
    ) {
        let check_bit = field.end_bit - super::CHECK_BYTES * super::BYTE_BITS;
        if !field.check_is_right() {
            let (recorded, computed) = (field.recorded_check, field.computed_check);
            defect(DefectKind::Check { recorded, computed }, check, check_bit);
        }
        if let Some(offset) = field.first_wrong_clock(mark, &self.bits, self.layout) {
            let at_bit = mark.end_bit + offset;
            defect(DefectKind::Clock, if at_bit < check_bit { kind } else { check }, at_bit);
        }
    }
}
