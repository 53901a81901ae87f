//! The layout and the numbers of `include/trackproof.h`, and nothing else.
//!
//! Names of fields are the header's. `header.rs` holds sizes, offsets and numbers equal to it.

use std::ffi::{c_char, c_void};

macro_rules! numbers {
    ($($name:ident: $ty:ty = $value:expr;)+) => {
        $(pub(crate) const $name: $ty = $value;)+

        /// All of them by name, to be compared with the header.
        #[cfg(test)]
        pub(crate) const NUMBERS: &[(&str, i64)] = &[$((stringify!($name), $name as i64),)+];
    };
}

numbers! {
    TP_ABI_MAJOR: u16 = 1;

    TP_OK: i32 = 0;
    TP_MORE: i32 = 1;
    TP_FAIL: i32 = -1;

    TP_SELECT: u32 = 0;
    TP_MOTOR: u32 = 1;
    TP_SIDE: u32 = 2;
    TP_STEP: u32 = 3;
    TP_SYNC_WORD: u32 = 4;
    TP_HARDWARE_SYNC: u32 = 5;
    TP_READ: u32 = 6;
    TP_SERVICE: u32 = 7;
    TP_ABORT: u32 = 8;
    TP_POLL_STATUS: u32 = 9;
    TP_POLL_BYTE: u32 = 10;
    TP_OUTPUT: u32 = 11;
    TP_RESET: u32 = 12;
    TP_END: u32 = 13;
    TP_WRITE: u32 = 14;

    TP_START_NOW: u32 = 0;
    TP_START_MATCH: u32 = 1;
    TP_START_INDEX: u32 = 2;

    TP_FORM_IMAGE: u32 = 0;
    TP_FORM_REAL: u32 = 1;
    TP_FORM_SECTORS: u32 = 2;

    TP_LAYOUT_FULL_TRACK: u32 = 0;
    TP_LAYOUT_SOFT_SECTOR: u32 = 1;

    TP_ITEM_WORD: u32 = 0;
    TP_ITEM_BYTE: u32 = 1;
    TP_ITEM_STATUS: u32 = 2;
    TP_ITEM_DONE: u32 = 3;
    TP_ITEM_REFUSED: u32 = 4;
    TP_ITEM_MATCH: u32 = 5;
}

/// `tp_profile`.
#[repr(C)]
pub(crate) struct Profile {
    pub(crate) count: u32,
    pub(crate) reserved: u32,
    pub(crate) values: *const i64,
}

/// `tp_drive`.
#[repr(C)]
pub(crate) struct Drive {
    pub(crate) turn_bits: u32,
    pub(crate) start_bit: u32,
    pub(crate) cylinder: u32,
    pub(crate) write_protected: u32,
    pub(crate) spin_up_ns: u64,
    pub(crate) change_clear: u32,
    pub(crate) reserved: u32,
}

/// `tp_track`.
#[repr(C)]
pub(crate) struct Track {
    pub(crate) drive: u32,
    pub(crate) cylinder: u32,
    pub(crate) side: u32,
    pub(crate) bit_count: u32,
    pub(crate) bytes: *const u8,
}

/// `tp_form`.
#[repr(C)]
#[derive(Default)]
pub(crate) struct Form {
    pub(crate) form: u32,
    pub(crate) layout: u32,
    pub(crate) sectors: u32,
    pub(crate) sector_bytes: u32,
    pub(crate) size_code: u32,
    pub(crate) gap_4a_bytes: u32,
    pub(crate) gap_1_bytes: u32,
    pub(crate) gap_2_bytes: u32,
    pub(crate) gap_3_bytes: u32,
    pub(crate) reserved: u32,
}

/// `tp_setup`.
#[repr(C)]
pub(crate) struct Setup {
    pub(crate) struct_size: u32,
    pub(crate) drive_count: u32,
    pub(crate) profile: *const Profile,
    pub(crate) drives: *const Drive,
    pub(crate) tracks: *const Track,
    pub(crate) track_count: u32,
    pub(crate) reserved: u32,
    pub(crate) forms: *const Form,
}

/// `tp_event`.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Event {
    pub(crate) at_ns: u64,
    pub(crate) kind: u32,
    pub(crate) transfer: u32,
    pub(crate) a: u32,
    pub(crate) reserved: u32,
    pub(crate) b: u64,
}

/// `tp_item`.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub(crate) struct Item {
    pub(crate) at_ns: u64,
    pub(crate) kind: u32,
    pub(crate) transfer: u32,
    pub(crate) flag: u32,
    pub(crate) reserved: u32,
    pub(crate) value: u64,
}

pub(crate) type Create = unsafe extern "C" fn(*const c_char) -> *mut c_void;
pub(crate) type Destroy = unsafe extern "C" fn(*mut c_void);
pub(crate) type Capabilities = unsafe extern "C" fn(*mut c_void) -> u64;
pub(crate) type GetProfile = unsafe extern "C" fn(*mut c_void, *mut i64, u32) -> i32;
pub(crate) type PowerUp = unsafe extern "C" fn(*mut c_void, *const Setup) -> i32;
pub(crate) type Run = unsafe extern "C" fn(*mut c_void, *const Event, u64) -> i32;
pub(crate) type Drain = unsafe extern "C" fn(*mut c_void, *mut Item, u64, *mut u64) -> i32;
pub(crate) type LastError = unsafe extern "C" fn(*mut c_void) -> *const c_char;

pub(crate) type Give = unsafe extern "C" fn(*mut c_void, u32, *const u64, u64) -> i32;
pub(crate) type Show = unsafe extern "C" fn(*mut c_void, u32, u32, u32, *mut u8, u64) -> i32;

/// `tp_adapter`. All zeros is a value of it: no name and no functions.
#[repr(C)]
pub(crate) struct Table {
    pub(crate) struct_size: u32,
    pub(crate) abi_major: u16,
    pub(crate) abi_minor: u16,
    pub(crate) name: *const c_char,
    pub(crate) create: Option<Create>,
    pub(crate) destroy: Option<Destroy>,
    pub(crate) capabilities: Option<Capabilities>,
    pub(crate) profile: Option<GetProfile>,
    pub(crate) power_up: Option<PowerUp>,
    pub(crate) run: Option<Run>,
    pub(crate) drain: Option<Drain>,
    pub(crate) last_error: Option<LastError>,
    pub(crate) give: Option<Give>,
    pub(crate) show: Option<Show>,
}

/// `tp_adapter_entry`.
pub(crate) type Entry = unsafe extern "C" fn(u32) -> *const Table;
