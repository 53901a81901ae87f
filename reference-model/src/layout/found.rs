//! What decoding finds: sectors, their places, and what is wrong with them.

use super::{Address, Field, FieldKind};
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
    /// Where its marks, its address, its data and their checks stand, in the track's order. A field
    /// that goes over the track's end goes on at its begin.
    pub fields: Vec<Field>,
}

impl FoundSector {
    /// The first channel bit of what opens it: its identifier mark or its sync words.
    #[must_use]
    pub fn start_bit(&self) -> usize {
        self.fields.first().map_or(0, |field| field.start_bit)
    }

    /// Whether both checks are right.
    #[must_use]
    pub const fn is_good(&self) -> bool {
        self.address_check_right && self.data_check_right
    }

    /// Whether one of its channel bits is among the ones of `bits`, a string as long as the track:
    /// with the free bits of a medium, whether it counts as unreadable.
    ///
    /// # Panics
    /// When `bits` is empty.
    #[must_use]
    pub fn touches(&self, bits: &ChannelBits) -> bool {
        self.fields.iter().any(|field| {
            (0..field.channel_bits).step_by(64).any(|from| {
                let count = (field.channel_bits - from).min(64);
                bits.cyclic_window(field.start_bit + from, count) != 0
            })
        })
    }
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
    /// A last header byte that is not 00: the full-track layout has nothing to say there.
    HeaderEnd {
        /// As recorded.
        recorded: u8,
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
            DefectKind::HeaderEnd { recorded } => {
                write!(f, "the header ends in {recorded:02x}, the layout has 00")
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

/// What has been found so far on a track of `turn_bits`.
pub(super) struct Findings {
    pub(super) track: DecodedTrack,
    /// Addresses with a right check.
    identified: BTreeSet<Address>,
    turn_bits: usize,
}

impl Findings {
    pub(super) fn new(turn_bits: usize) -> Self {
        Self { track: DecodedTrack::default(), identified: BTreeSet::new(), turn_bits }
    }

    /// Takes note of an address with a right check; whether it is the track's first of that kind.
    pub(super) fn identify(&mut self, address: Address) -> bool {
        self.identified.insert(address)
    }

    /// A field from channel bit `start_bit` to before `end_bit`, of a stretch that may have gone
    /// round.
    pub(super) const fn field(
        &self,
        kind: FieldKind,
        sector: u8,
        start_bit: usize,
        end_bit: usize,
    ) -> Field {
        let channel_bits = end_bit - start_bit;
        Field { kind, sector: Some(sector), start_bit: start_bit % self.turn_bits, channel_bits }
    }

    pub(super) fn defect(
        &mut self,
        kind: DefectKind,
        field: FieldKind,
        sector: Option<u8>,
        at_bit: usize,
    ) {
        let at_bit = at_bit % self.turn_bits;
        self.track.defects.push(Defect { kind, field, sector, at_bit });
    }

    /// Names the sectors that are missing, of those with these numbers; `field` is what
    /// would open them.
    pub(super) fn complete(
        mut self,
        sectors: impl Iterator<Item = u8>,
        field: FieldKind,
    ) -> DecodedTrack {
        for sector in sectors {
            if !self.identified.iter().any(|address| address.sector == sector) {
                let (kind, sector) = (DefectKind::Missing, Some(sector));
                self.track.defects.push(Defect { kind, field, sector, at_bit: 0 });
            }
        }
        self.track
    }
}
