//! The layout and the numbers of `include/trackproof.h`, and nothing else.
//!
//! Names of fields are the header's. `header.rs` holds sizes, offsets and numbers equal to it.

use std::ffi::{CStr, c_char, c_void};

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
    TP_YES: i32 = 1;
    TP_REFUSED: i32 = 2;
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
pub(crate) struct Adapter {
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

/// Of parts: what happens to one, without values.
pub(crate) type Plain = unsafe extern "C" fn(*mut c_void) -> i32;
pub(crate) type PowerUpPart = unsafe extern "C" fn(*mut c_void, *const Profile) -> i32;
pub(crate) type ShiftIn = unsafe extern "C" fn(*mut c_void, u32, *mut u64) -> i32;
pub(crate) type Request = unsafe extern "C" fn(*mut c_void, u32, u32, u32) -> i32;
pub(crate) type Service = unsafe extern "C" fn(*mut c_void, u32, *mut u64) -> i32;
pub(crate) type SetHardwareSync = unsafe extern "C" fn(*mut c_void, u32) -> i32;
pub(crate) type SetSyncWord = unsafe extern "C" fn(*mut c_void, u64) -> i32;
pub(crate) type Poll = unsafe extern "C" fn(*mut c_void, *mut u32, *mut u32) -> i32;
pub(crate) type Write = unsafe extern "C" fn(*mut c_void, u32, u32, u32, u32) -> i32;
pub(crate) type Offer = unsafe extern "C" fn(*mut c_void, u32, u64) -> i32;
pub(crate) type BeginCell = unsafe extern "C" fn(*mut c_void, *mut u32) -> i32;
pub(crate) type Encode =
    unsafe extern "C" fn(*mut c_void, *const Track, *const Form, *mut u8, u32) -> i32;

pub(crate) type Advance =
    unsafe extern "C" fn(*mut c_void, u64, *const u64, u32, *mut u8, u32, *mut u32) -> i32;

/// `tp_word_reader`.
#[repr(C)]
pub(crate) struct WordReader {
    pub(crate) struct_size: u32,
    pub(crate) abi_major: u16,
    pub(crate) abi_minor: u16,
    pub(crate) name: *const c_char,
    pub(crate) create: Option<Create>,
    pub(crate) destroy: Option<Destroy>,
    pub(crate) last_error: Option<LastError>,
    pub(crate) profile: Option<GetProfile>,
    pub(crate) power_up: Option<PowerUpPart>,
    pub(crate) shift_in: Option<ShiftIn>,
    pub(crate) request: Option<Request>,
    pub(crate) service: Option<Service>,
    pub(crate) set_hardware_sync: Option<SetHardwareSync>,
    pub(crate) source_changed: Option<Plain>,
    pub(crate) set_sync_word: Option<SetSyncWord>,
    pub(crate) index: Option<Plain>,
    pub(crate) abort: Option<Plain>,
    pub(crate) reset: Option<Plain>,
    pub(crate) poll_status: Option<Poll>,
    pub(crate) poll_byte: Option<Poll>,
    pub(crate) done_signal: Option<Plain>,
    pub(crate) match_signal: Option<Plain>,
}

/// `tp_track_writer`.
#[repr(C)]
pub(crate) struct TrackWriter {
    pub(crate) struct_size: u32,
    pub(crate) abi_major: u16,
    pub(crate) abi_minor: u16,
    pub(crate) name: *const c_char,
    pub(crate) create: Option<Create>,
    pub(crate) destroy: Option<Destroy>,
    pub(crate) last_error: Option<LastError>,
    pub(crate) profile: Option<GetProfile>,
    pub(crate) power_up: Option<PowerUpPart>,
    pub(crate) write: Option<Write>,
    pub(crate) offer: Option<Offer>,
    pub(crate) begin_cell: Option<BeginCell>,
    pub(crate) is_busy: Option<Plain>,
    pub(crate) end_cell: Option<Plain>,
    pub(crate) index: Option<Plain>,
    pub(crate) abort: Option<Plain>,
    pub(crate) reset: Option<Plain>,
    pub(crate) done_signal: Option<Plain>,
}

/// `tp_track_encoder`.
#[repr(C)]
pub(crate) struct TrackEncoder {
    pub(crate) struct_size: u32,
    pub(crate) abi_major: u16,
    pub(crate) abi_minor: u16,
    pub(crate) name: *const c_char,
    pub(crate) create: Option<Create>,
    pub(crate) destroy: Option<Destroy>,
    pub(crate) last_error: Option<LastError>,
    pub(crate) encode: Option<Encode>,
}

/// `tp_data_separator`.
#[repr(C)]
pub(crate) struct DataSeparator {
    pub(crate) struct_size: u32,
    pub(crate) abi_major: u16,
    pub(crate) abi_minor: u16,
    pub(crate) name: *const c_char,
    pub(crate) create: Option<Create>,
    pub(crate) destroy: Option<Destroy>,
    pub(crate) last_error: Option<LastError>,
    pub(crate) profile: Option<GetProfile>,
    pub(crate) power_up: Option<PowerUpPart>,
    pub(crate) advance: Option<Advance>,
}

/// An entry: it returns a table of its kind.
pub(crate) type Entry<T> = unsafe extern "C" fn(u32) -> *const T;

/// A table that an entry returns.
///
/// # Safety
/// It begins with its size as `struct_size`, its major number is `major`, and whatever bytes are in
/// it are a value: numbers, a name, nullable functions.
pub(crate) unsafe trait Table {
    /// The entry's name.
    const ENTRY: &'static CStr;

    /// The table's name in the header.
    const NAME: &'static str;

    /// `abi_major`.
    fn major(&self) -> u16;
}

macro_rules! tables {
    ($($table:ident = $name:literal, $entry:literal;)+) => {$(
        // SAFETY: as the struct has it.
        unsafe impl Table for $table {
            const ENTRY: &'static CStr = $entry;
            const NAME: &'static str = $name;

            fn major(&self) -> u16 {
                self.abi_major
            }
        }
    )+};
}

tables! {
    Adapter = "tp_adapter", c"tp_adapter_entry";
    WordReader = "tp_word_reader", c"tp_word_reader_entry";
    TrackWriter = "tp_track_writer", c"tp_track_writer_entry";
    TrackEncoder = "tp_track_encoder", c"tp_track_encoder_entry";
    DataSeparator = "tp_data_separator", c"tp_data_separator_entry";
}
