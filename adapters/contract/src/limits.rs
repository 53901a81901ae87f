//! The limits that a case keeps, each with its reason. Whatever comes from outside is held to them.

/// Most drives of a bench: the select mask of the common interface has four lines
/// (common practice, no source).
pub const MAX_DRIVES: usize = 4;

/// Most channel bits a turn: twice the densest standard track (25 000 bytes of MFM).
pub const MAX_TRACK_BITS: usize = 800_000;

/// Most recorded tracks of a case: a whole volume of 84 cylinders on two sides in each drive.
pub const MAX_TRACKS: usize = 84 * 2 * MAX_DRIVES;

/// Highest cylinder: drives of 80 cylinders can be stepped a little further.
pub const MAX_CYLINDER: u8 = 83;

/// Most operations of a program: generated ones have dozens, a volume round trip thousands.
pub const MAX_OPERATIONS: usize = 20_000;

/// Most stalls of one transfer's service.
pub const MAX_STALLS: usize = 1_024;

/// Most events of a timeline: bounds the memory of a case whose services are close together.
pub const MAX_EVENTS: usize = 16_000_000;

/// Longest program, in nanoseconds of the case's own time: a volume read twice takes 64 s.
pub const MAX_PROGRAM_NS: u64 = 600_000_000_000;

/// Most items that an observation may hold, beside what the timeline asks for.
pub const MAX_EXTRA_ITEMS: usize = 1_000_000;

/// Most words of a FIFO; a state of the model keeps them all.
pub const MAX_FIFO_WORDS: u16 = 1_024;

/// Most words of one request: what a 16-bit length register can name.
pub const MAX_WORDS: u32 = 65_535;
