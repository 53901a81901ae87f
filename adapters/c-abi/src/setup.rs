//! What a case begins with, laid out for C in buffers that are used again and again.

use crate::raw;
use trackproof_contract::{
    ChangeClear, ChannelKind, DriveBench, KEYS, Medium, SectorLayout, Setup,
};

/// Holds what a setup points to.
#[derive(Default)]
pub(crate) struct SetupBuffers {
    values: Vec<i64>,
    drives: Vec<raw::Drive>,
    bytes: Vec<u8>,
    tracks: Vec<raw::Track>,
    forms: Vec<raw::Form>,
}

impl SetupBuffers {
    /// Lays `setup` out and lends it to `call`; its pointers are good until that returns.
    pub(crate) fn lend<R>(&mut self, setup: Setup<'_>, call: impl FnOnce(&raw::Setup) -> R) -> R {
        self.values.clear();
        self.values.extend(KEYS.iter().map(|key| key.code(setup.profile)));
        self.drives.clear();
        self.drives.extend(setup.bench.drives.iter().map(drive));
        self.bytes.clear();
        for track in setup.tracks {
            track.medium.track().append_bytes_to(&mut self.bytes);
        }
        // Only now do the bytes stay where they are.
        let mut rest = self.bytes.as_slice();
        self.tracks.clear();
        self.tracks.extend(setup.tracks.iter().map(|track| {
            let bits = track.medium.track().len();
            let (bytes, behind) = rest.split_at(bits.div_ceil(8));
            rest = behind;
            raw::Track {
                drive: track.drive.into(),
                cylinder: track.cylinder.into(),
                side: track.side.into(),
                bit_count: bits as u32,
                bytes: bytes.as_ptr(),
            }
        }));
        self.forms.clear();
        self.forms.extend(setup.tracks.iter().map(|track| form(&track.medium)));
        let profile = raw::Profile {
            count: self.values.len() as u32,
            reserved: 0,
            values: self.values.as_ptr(),
        };
        let result = call(&raw::Setup {
            struct_size: size_of::<raw::Setup>() as u32,
            drive_count: self.drives.len() as u32,
            profile: &raw const profile,
            drives: self.drives.as_ptr(),
            tracks: self.tracks.as_ptr(),
            track_count: self.tracks.len() as u32,
            reserved: 0,
            forms: self.forms.as_ptr(),
        });
        self.tracks.clear();
        result
    }
}

fn drive(bench: &DriveBench) -> raw::Drive {
    raw::Drive {
        turn_bits: bench.turn_bits,
        start_bit: bench.start_bit,
        cylinder: bench.cylinder.into(),
        write_protected: bench.write_protected.into(),
        spin_up_ns: bench.spin_up_ns,
        change_clear: match bench.change_clear {
            ChangeClear::Step => 0,
            ChangeClear::Select => 1,
        },
        reserved: 0,
    }
}

fn form(medium: &Medium) -> raw::Form {
    let none = raw::Form::default();
    match medium {
        Medium::ChannelBits { kind: ChannelKind::Real, .. } => {
            raw::Form { form: raw::TP_FORM_REAL, ..none }
        }
        Medium::Image { layout, .. } => sector_form(layout),
        _ => raw::Form { form: raw::TP_FORM_IMAGE, ..none },
    }
}

/// The form of a track of sectors.
pub(crate) fn sector_form(layout: &SectorLayout) -> raw::Form {
    let sized = raw::Form {
        form: raw::TP_FORM_SECTORS,
        sectors: layout.sectors() as u32,
        sector_bytes: layout.sector_bytes() as u32,
        ..raw::Form::default()
    };
    match *layout {
        SectorLayout::SoftSector {
            size_code,
            gap_4a_bytes,
            gap_1_bytes,
            gap_2_bytes,
            gap_3_bytes,
            ..
        } => raw::Form {
            layout: raw::TP_LAYOUT_SOFT_SECTOR,
            size_code: size_code.into(),
            gap_4a_bytes: gap_4a_bytes.into(),
            gap_1_bytes: gap_1_bytes.into(),
            gap_2_bytes: gap_2_bytes.into(),
            gap_3_bytes: gap_3_bytes.into(),
            ..sized
        },
        // The harness asks for no layout that the header has not.
        _ => raw::Form { layout: raw::TP_LAYOUT_FULL_TRACK, ..sized },
    }
}
