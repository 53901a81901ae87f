/*
 * trackproof.h: how an implementation that is a shared library plugs in.
 *
 * The library exports one function: tp_adapter_entry if it is a controller with its drives, or the
 * entry of a part of one, at the end of this file. It returns a table of functions; a null
 * pointer in the table, or a table that is too short for a function, is a capability that the
 * implementation has not. There are no callbacks and no global state: every call gets the opaque
 * pointer that create() returned, and two of them may live in two threads at once.
 *
 * One case of a controller is: power_up() once, then run() with the events of the whole case (in
 * one call or in several), after each run() drain() until it has given everything. power_up() may
 * come at any time; it begins a new case and forgets the old one, its undrained items too.
 *
 * Append only: a function or field is added at the end, a new meaning is a new major number.
 * Integers have fixed width; times are nanoseconds from the case's begin.
 */
#ifndef TRACKPROOF_H
#define TRACKPROOF_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define TP_ABI_MAJOR 1
#define TP_ABI_MINOR 3

/* What a function returns. */
#define TP_OK 0    /* done */
#define TP_MORE 1  /* drain(): done, and there are more items; call again */
#define TP_YES 1   /* a function of a part: done, and the answer is yes; TP_OK is no */
#define TP_REFUSED 2 /* request() of a word reader: refused */
#define TP_FAIL -1 /* not done; last_error() says why */

/* Capabilities: bit n of a mask. */
enum {
    TP_CAN_READ = 0,              /* reads that start at once */
    TP_CAN_HARDWARE_SYNC = 1,     /* reads that start at a match; hardware sync on and off */
    TP_CAN_SYNC_WORD = 2,         /* the sync word can be set */
    TP_CAN_INDEX_START = 3,       /* transfers that start at the index */
    TP_CAN_ABORT = 4,
    TP_CAN_RESET = 5,
    TP_CAN_BYTE_PORT = 6,         /* newest byte and flag in one read */
    TP_CAN_DONE_SIGNAL = 7,
    TP_CAN_REFUSED_SIGNAL = 8,
    TP_CAN_MATCH_SIGNAL = 9,      /* for profiles with flag = event */
    TP_CAN_STATUS_DONE = 10,      /* from here: bits of the status that are driven */
    TP_CAN_STATUS_BUSY = 11,
    TP_CAN_STATUS_ERROR = 12,
    TP_CAN_STATUS_MATCH = 13,
    TP_CAN_STATUS_INDEX = 14,
    TP_CAN_STATUS_TRACK_ZERO = 15,
    TP_CAN_STATUS_PROTECT = 16,
    TP_CAN_STATUS_READY = 17,
    TP_CAN_STATUS_CHANGE = 18,
    TP_CAN_DRIVES = 19,           /* more than one drive */
    TP_CAN_SIDES = 20,            /* side 1 */
    TP_CAN_STEP = 21,
    TP_CAN_UNRELATED_OUTPUT = 22, /* an output that has nothing to do with transfers */
    TP_CAN_WRITE = 23,            /* writes that start at once; with the bits above also at a match
                                     and at the index; needs give() */
    TP_CAN_MEDIA = 24,            /* the media can be looked at after a run; needs show() */
    TP_CAN_IMAGE_DRIVES = 25,     /* drives that are backed by images of sectors */
    TP_CAN_FIFO = 26,             /* requests and a FIFO of its own: every library has them and need
                                     not say so */
    TP_CAN_SEPARATOR = 27,        /* flux made into channel bits: what a tp_data_separator does, no
                                     tp_adapter has it */
    TP_CAN_COUNT = 28
};

/*
 * Profile keys: the index into tp_profile.values. What each key and value means stands in
 * adapters/contract/profiles/sync-dma.toml, a sentence each. Values of choices are numbered from
 * 0 in the order of the names below; numbers are numbers; no is 0 and yes is 1.
 */
enum {
    TP_KEY_RECORDING = 0,             /* fm, mfm */
    TP_KEY_CHANNEL_BIT_NS = 1,        /* T */
    TP_KEY_REGISTER_BITS = 2,         /* R */
    TP_KEY_WORD_BITS = 3,             /* W */
    TP_KEY_SYNC_MASK = 4,
    TP_KEY_START_MATCH = 5,           /* drop, deliver */
    TP_KEY_ALIGNED_MATCH = 6,         /* word, drop */
    TP_KEY_MISALIGNED_MATCH = 7,      /* realign-drop, realign-deliver, ignore */
    TP_KEY_PARTIAL = 8,               /* drop, pad-low, finish */
    TP_KEY_REALIGN = 9,               /* every, first, never */
    TP_KEY_REFRACTORY = 10,
    TP_KEY_SLACK_MIN = 11,
    TP_KEY_SLACK_MAX = 12,
    TP_KEY_COUNTER = 13,              /* free-running, zeroed-at-start */
    TP_KEY_LATCH_WORDS = 14,
    TP_KEY_FLAG_WHEN_OFF = 15,        /* no, yes */
    TP_KEY_SYNC_WRITE = 16,           /* whole, halves */
    TP_KEY_SYNC_ON_LIVE = 17,         /* realign, next-transfer */
    TP_KEY_SYNC_OFF_WAITING = 18,     /* start, wait */
    TP_KEY_FLAG = 19,                 /* level, latched-clear-on-read, latched-clear-on-start,
                                         event */
    TP_KEY_POLL_JITTER = 20,
    TP_KEY_STRADDLE = 21,             /* no, allowed */
    TP_KEY_BYTE_PORT = 22,            /* no, yes */
    TP_KEY_BYTE = 23,                 /* channel-8, data-8 */
    TP_KEY_FIFO_WORDS = 24,           /* D */
    TP_KEY_OVERRUN = 25,              /* lose-new, lose-old, stop */
    TP_KEY_UNDERRUN = 26,             /* repeat, zeros, close-gate, hold */
    TP_KEY_ERROR_FLAG = 27,           /* none, sticky, per-transfer */
    TP_KEY_SERVICE = 28,              /* 0: per-word; else period_ns * 65536 + count */
    TP_KEY_READ_DONE = 29,            /* last-stored, last-completed */
    TP_KEY_WRITE_DONE = 30,           /* last-fetched, last-bit, gate-off */
    TP_KEY_DONE_LATENCY = 31,
    TP_KEY_START_BUSY = 32,           /* ignore, replace, error */
    TP_KEY_ZERO_WORDS = 33,           /* none, maximum */
    TP_KEY_MAX_WORDS = 34,
    TP_KEY_READ_JOIN = 35,            /* no, yes */
    TP_KEY_WRITE_JOIN = 36,           /* no, yes */
    TP_KEY_ABORT_TO_GATE = 37,
    TP_KEY_RESET_CLEARS_REGISTER = 38, /* no, yes */
    TP_KEY_NO_DRIVE_READ = 39,        /* zeros, ones, noise, nothing */
    TP_KEY_WRITE_UNIT = 40,           /* channel-words, data-bytes */
    TP_KEY_FIRST_CONTEXT = 41,        /* 0, 1, last */
    TP_KEY_GATE_LEAD = 42,
    TP_KEY_MATCH_TO_WRITE = 43,
    TP_KEY_MATCH_JITTER = 44,
    TP_KEY_INDEX_EDGE = 45,           /* leading, trailing */
    TP_KEY_LOST_TAIL = 46,
    TP_KEY_TAIL_PULSE = 47,           /* no, yes */
    TP_KEY_GATE_OFF_MIN = 48,
    TP_KEY_GATE_OFF_MAX = 49,
    TP_KEY_SPLICE_GUARD = 50,         /* four times 16 bits: G1, G2, G3, G4, G1 highest */
    TP_KEY_CHECKS_PROTECT = 51,       /* no, yes */
    TP_KEY_WINDOW = 52,               /* in percent of half a channel bit */
    TP_KEY_RATE_LIMIT = 53,           /* in percent over 64 bit cells */
    TP_KEY_LOCK_BITS = 54,            /* in channel bits */
    TP_KEY_COUNT = 55
};

/* What the controller is to choose. A library may find more keys than it knows. */
typedef struct tp_profile {
    uint32_t count;        /* of values */
    uint32_t reserved;
    const int64_t *values; /* values[TP_KEY_...] */
} tp_profile;

/*
 * A drive. At time 0 its motor is off, its medium in, its change line set. Its platter's angle
 * runs on at all times: the cell in front of the head at time t is number
 * (start_bit + t / T) mod turn_bits; a cell's bit is shifted in when the cell ends. The index is
 * the begin of cell 0; the index line is active for the first hundredth of a turn
 * (turn_bits * T / 100 ns) from there, while the drive spins. A drive spins while its motor line
 * is active; ready is spinning for spin_up_ns unbroken. Without spinning there is no read data,
 * no index and no ready. Lines show for the selected drive only; none selected: all inactive.
 */
typedef struct tp_drive {
    uint32_t turn_bits;
    uint32_t start_bit;
    uint32_t cylinder;        /* where the head is at time 0 */
    uint32_t write_protected; /* 0 or 1 */
    uint64_t spin_up_ns;
    uint32_t change_clear;    /* 0: by a step of the selected drive, 1: by its deselection */
    uint32_t reserved;
} tp_drive;

/* A recorded track: one turn, turn_bits channel bits, the first is the top bit of bytes[0]. */
typedef struct tp_track {
    uint32_t drive;
    uint32_t cylinder;
    uint32_t side;
    uint32_t bit_count;
    const uint8_t *bytes;
} tp_track;

/*
 * The form of a recorded track.
 *
 * TP_FORM_IMAGE: a turn of channel bits that is kept as it is. TP_FORM_REAL: a turn of channel
 * bits on a medium that holds transitions; where they are too close to each other or too far
 * apart, what is read is free. An implementation may treat it as TP_FORM_IMAGE.
 *
 * TP_FORM_SECTORS: an image-backed drive. tp_track.bytes are the data of all sectors in their
 * order, bit_count their bits; the drive makes the stream of channel bits of a turn of them: MFM,
 * as the layout says, every byte that no field takes is 4E. What is written on such a track is
 * decoded: a sector whose header and data come out with right checks takes the new data, any
 * other keeps what it had. Until the next write the stream is that of the sectors again.
 *
 * TP_LAYOUT_FULL_TRACK: from the index on, `sectors` sectors without gaps, numbered from 0. Each:
 * 4 bytes 00; three times the mark A1 (channel word 4489); header: cylinder, side, sector, 00, and
 * its check; `sector_bytes` of data, and their check. Checks are 16-bit CRCs, polynomial 1021,
 * begun with FFFF, over three bytes A1 and the field, high byte first. Header, header's check,
 * data, data's check are each stored split: first all even bits (6, 4, 2, 0) of the field's bytes
 * in their order, packed into bytes, then all odd ones (7, 5, 3, 1). Clock bits are made when all
 * is in place, over the index too; those of the marks are not touched.
 *
 * TP_LAYOUT_SOFT_SECTOR: if gap_4a_bytes is not 0: gap_4a_bytes of 4E, 12 bytes 00, three times
 * the mark C2 (channel word 5224), FC. gap_1_bytes of 4E. Then `sectors` sectors, numbered from 1:
 * 12 bytes 00, three A1 marks, FE, cylinder, side, sector, N, check (over A1 A1 A1 FE and the
 * four); gap_2_bytes of 4E; 12 bytes 00, three A1 marks, FB, 128 * 2^N data bytes, check (over A1
 * A1 A1 FB and the data); gap_3_bytes of 4E. The rest of the turn is 4E. N is size_code.
 */
enum { TP_FORM_IMAGE = 0, TP_FORM_REAL = 1, TP_FORM_SECTORS = 2 };
enum { TP_LAYOUT_FULL_TRACK = 0, TP_LAYOUT_SOFT_SECTOR = 1 };

typedef struct tp_form {
    uint32_t form;         /* TP_FORM_... */
    uint32_t layout;       /* TP_LAYOUT_..., for TP_FORM_SECTORS */
    uint32_t sectors;
    uint32_t sector_bytes;
    uint32_t size_code;
    uint32_t gap_4a_bytes;
    uint32_t gap_1_bytes;
    uint32_t gap_2_bytes;
    uint32_t gap_3_bytes;
    uint32_t reserved;
} tp_form;

/* All that is known when power comes on. Pointers are good during power_up() only: copy. */
typedef struct tp_setup {
    uint32_t struct_size; /* what the caller knows of this struct */
    uint32_t drive_count;
    const tp_profile *profile;
    const tp_drive *drives;
    const tp_track *tracks; /* tracks that are not among them read as zeros, and what is written
                               on them may be forgotten */
    uint32_t track_count;
    uint32_t reserved;
    const tp_form *forms;   /* since minor 1: one for each of `tracks` */
} tp_setup;

/* Events: what happens to the controller. */
enum {
    TP_SELECT = 0,        /* a: select lines, bit n for drive n, at most one */
    TP_MOTOR = 1,         /* a: motor lines, bit n for drive n */
    TP_SIDE = 2,          /* a: 0 or 1; one line for all drives */
    TP_STEP = 3,          /* a: 0 towards higher cylinders, 1 towards track 00; the selected drive
                             moves by one, at most to its ends 0 and 83 */
    TP_SYNC_WORD = 4,     /* b: the word, its low R bits */
    TP_HARDWARE_SYNC = 5, /* a: 1 on, 0 off */
    TP_READ = 6,          /* transfer; a: TP_START_...; b: words */
    TP_SERVICE = 7,       /* transfer: this transfer may move one word now; void if it does not
                             run or no word waits */
    TP_ABORT = 8,
    TP_POLL_STATUS = 9,   /* answer with one TP_ITEM_STATUS */
    TP_POLL_BYTE = 10,    /* answer with one TP_ITEM_BYTE */
    TP_OUTPUT = 11,       /* a: new value of an output that has nothing to do with transfers */
    TP_RESET = 12,
    TP_END = 13,          /* nothing happens but that time has come so far */
    TP_WRITE = 14         /* transfer; a: TP_START_...; b: words that give() has handed over */
};

/*
 * Writing. give() comes before the event TP_WRITE of its transfer. From the request's acceptance
 * on, each TP_SERVICE of that transfer fetches one of its words, unless D words wait already or
 * none is left. The gate opens at the begin of a cell: at once, with the first fetched word; or
 * match_to_write after a match's last bit; or at the index. If by then no word has been fetched,
 * that match or index is missed and the next one counts. The serialiser takes the oldest word
 * before the first cell of each word; if none waits, `underrun` says what is written. The gate
 * closes behind the last word, on abort and reset within abort_to_gate, and when select, side or
 * motor change under it; the transfer then ends without done. While the gate is open zeros are
 * shifted into the register, and each of its edges makes it invalid, as a change of drive does.
 * A drive writes while it is selected, spins and is not protected; nothing is written otherwise,
 * and the words are fetched all the same.
 */
enum { TP_START_NOW = 0, TP_START_MATCH = 1, TP_START_INDEX = 2 };

typedef struct tp_event {
    uint64_t at_ns;
    uint32_t kind;     /* TP_SELECT ... */
    uint32_t transfer; /* number of the transfer, 0 for the program's first request */
    uint32_t a;
    uint32_t reserved;
    uint64_t b;
} tp_event;

/*
 * Events come in the order of time. At one moment t, first the bit of the cell that ends at t is
 * shifted in, with all that follows from it; then the events of t in their order.
 */

/* Items: what the host saw. */
enum {
    TP_ITEM_WORD = 0,    /* transfer; value: the word; at the time of a service of that transfer */
    TP_ITEM_BYTE = 1,    /* value: the byte; flag: 1 if not read before */
    TP_ITEM_STATUS = 2,  /* value: TP_STATUS_... */
    TP_ITEM_DONE = 3,    /* the completion signal, when it happens */
    TP_ITEM_REFUSED = 4, /* transfer: this request was refused, at its own time (start_busy =
                            error) */
    TP_ITEM_MATCH = 5    /* the match signal, when it happens (flag = event) */
};

/* Bits of the status. */
#define TP_STATUS_DONE 0x001u    /* a transfer completed (its done event) and none was accepted,
                                    no abort and no reset came since */
#define TP_STATUS_BUSY 0x002u    /* a transfer waits or runs: from acceptance to its end */
#define TP_STATUS_ERROR 0x004u   /* a word was lost, as error_flag says */
#define TP_STATUS_MATCH 0x008u   /* as flag says */
#define TP_STATUS_INDEX 0x010u   /* from here: lines of the selected drive */
#define TP_STATUS_TRACK_ZERO 0x020u
#define TP_STATUS_PROTECT 0x040u
#define TP_STATUS_READY 0x080u
#define TP_STATUS_CHANGE 0x100u

typedef struct tp_item {
    uint64_t at_ns;
    uint32_t kind;     /* TP_ITEM_... */
    uint32_t transfer;
    uint32_t flag;
    uint32_t reserved;
    uint64_t value;
} tp_item;

typedef struct tp_adapter {
    uint32_t struct_size; /* sizeof(tp_adapter) when the library was compiled */
    uint16_t abi_major;   /* TP_ABI_MAJOR */
    uint16_t abi_minor;   /* TP_ABI_MINOR */

    /* A name for reports, UTF-8, at most 200 bytes without the zero behind them; may be null. Valid while loaded. */
    const char *name;

    /* A new implementation, or null when it cannot be made. `options` is null, or words of the
     * implementation's own. last_error(null) may then say why. */
    void *(*create)(const char *options);
    void (*destroy)(void *self);

    /* The mask of capabilities; it never changes. */
    uint64_t (*capabilities)(void *self);

    /* The profile that the implementation has, if it cannot take any: sets values[0 .. count] and
     * returns TP_OK. They come filled with those of the profile sync-dma: leave what you do not
     * set, keys that your copy of this header does not know above all. Null, or TP_FAIL: it takes
     * the profile of power_up(). */
    int32_t (*profile)(void *self, int64_t *values, uint32_t count);

    /* Power comes on: time 0, all lines inactive, everything as new. */
    int32_t (*power_up)(void *self, const tp_setup *setup);

    /* Lives through the events, which continue where the last call ended. What the host saw is
     * kept until it is drained or power comes on again. */
    int32_t (*run)(void *self, const tp_event *events, uint64_t count);

    /* Gives up to `capacity` of the items not yet given, in the order of time, and their number
     * in *count. TP_MORE when some are left. */
    int32_t (*drain)(void *self, tp_item *items, uint64_t capacity, uint64_t *count);

    /* Why the last call on self failed, UTF-8, at most 1 000 bytes without the zero; may be null. */
    const char *(*last_error)(void *self);

    /* Since minor 1. Hands over the words of the write that is request number `transfer`, before
     * the TP_WRITE event of that request; copy them. A word's low W bits count, the first channel
     * bit is the highest; see write_unit. */
    int32_t (*give)(void *self, uint32_t transfer, const uint64_t *words, uint64_t count);

    /* Since minor 1. Fills bytes[0 .. byte_count] with a recorded track as it is now: in the form,
     * and as many bits, as tp_setup had it. Called after the last run() of a case. */
    int32_t (*show)(void *self, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t byte_count);
} tp_adapter;

/* The exported symbol. Null when the library cannot serve that major number. */
const tp_adapter *tp_adapter_entry(uint32_t abi_major);

/*
 * Parts of a controller, since minor 2. Who has only a part exports the entry of that part; what it
 * lacks, drives with their media and rotation, lines and a host, is lent to it, and nothing that
 * needs only this is held against it. Of a library that exports several entries the first in this
 * file counts, unless the part is named.
 *
 * A part is called like hardware that is clocked once a channel bit; it never learns the time. Each
 * case begins with one that create() has just made, and with power_up(). Before the first case
 * every function is tried once, each on a part made for that alone. A part of which nothing but
 * create() and destroy() is there can be opened, and nothing is judged.
 *
 * The tables begin alike. create(), destroy(), last_error(), name and profile() are as in
 * tp_adapter. power_up() gets the profile to behave by, good during the call; null: it needs none.
 * Where it fails, destroy() is all that the part is still called for.
 *
 * Functions return TP_OK or TP_FAIL, and where it says so TP_YES or TP_REFUSED. What a function
 * gives is written through its pointers before it returns.
 */

/*
 * A word reader: shift register, sync comparator, word framing, FIFO. Channel bits in, words out.
 *
 * Without request() and service() it is a framer: shift_in() hands out every word, and requests and
 * FIFO are lent to it. With both, words leave by service() alone.
 *
 * The order at one moment: shift_in(), if a channel bit ends then; service() of the transfer that
 * was requested before; what the host does, in its order, and source_changed() when it selects,
 * steps or changes the side; index(), if the channel bit that begins then is the first of the turn.
 * match_signal() and then done_signal() are asked after every one of these. A transfer is under way
 * until its last word has been taken. At power-up the register holds zeros, valid; the sync word is
 * 4489, its low R bits; hardware sync is off.
 */
typedef struct tp_word_reader {
    uint32_t struct_size; /* sizeof(tp_word_reader) when the library was compiled */
    uint16_t abi_major;   /* TP_ABI_MAJOR */
    uint16_t abi_minor;   /* TP_ABI_MINOR */
    const char *name;
    void *(*create)(const char *options);
    void (*destroy)(void *self);
    const char *(*last_error)(void *self);
    int32_t (*profile)(void *self, int64_t *values, uint32_t count);
    int32_t (*power_up)(void *self, const tp_profile *profile);

    /* A channel bit ends, `bit` is 0 or 1: called once every T, whether a transfer is under way or
     * not. A framer returns TP_YES when a word completes with it, and sets *word: its low W bits,
     * the first channel bit the highest. */
    int32_t (*shift_in)(void *self, uint32_t bit, uint64_t *word);

    /* The host asks for a read of `words`; `transfer` is the request's number, `start` is
     * TP_START_.... Accepted now, before the next shift_in(), is a slack of 0. TP_REFUSED: refused
     * and reported (start_busy = error); TP_OK: all else. */
    int32_t (*request)(void *self, uint32_t transfer, uint32_t words, uint32_t start);

    /* This transfer may move one word now: TP_YES with the oldest one in *word; TP_OK, and nothing
     * happens, if none waits or that transfer does not run. */
    int32_t (*service)(void *self, uint32_t transfer, uint64_t *word);

    /* Hardware sync is on (1) or off (0) from now on. Reads that start at a match need this and
     * source_changed(). */
    int32_t (*set_hardware_sync)(void *self, uint32_t on);

    /* The channel bits come from elsewhere from now on: the register is invalid until R of them
     * have come. */
    int32_t (*source_changed)(void *self);

    /* The sync word becomes this: its low R bits, the others are 0. */
    int32_t (*set_sync_word)(void *self, uint64_t word);

    /* The channel bit that begins now is the first of the turn: reads that start at the index. */
    int32_t (*index)(void *self);

    /* The transfer ends, without completion, its words are gone; register and counter run on. */
    int32_t (*abort)(void *self);

    /* An abort; sync word, switch, flags, counter and refractory time are as at power-up. */
    int32_t (*reset)(void *self);

    /* The host reads the status. *driven: those of TP_STATUS_DONE, _BUSY, _ERROR and _MATCH that
     * there are, always the same ones; *set: those of them that are set. */
    int32_t (*poll_status)(void *self, uint32_t *driven, uint32_t *set);

    /* The host reads the newest byte; *fresh is 1 if it had not been read before, else 0. */
    int32_t (*poll_byte)(void *self, uint32_t *value, uint32_t *fresh);

    /* TP_YES if completion was signalled since this was asked last. */
    int32_t (*done_signal)(void *self);

    /* TP_YES if a match was signalled since this was asked last; for profiles with flag = event. */
    int32_t (*match_signal)(void *self);
} tp_word_reader;

const tp_word_reader *tp_word_reader_entry(uint32_t abi_major);

/*
 * A track writer: FIFO, serialiser, clock generation, write gate. Words in, channel bits with the
 * gate out. The first four functions must all be there for anything to be judged. A drive keeps
 * what the gate lets through while it is selected, spins and is not protected; a raw reader that is
 * lent reads it back. Writes that start at a match are not asked for.
 *
 * The order at one moment: end_cell(), if a cell ends then; offer(), for the write that was under
 * way before; what the host does, in its order; index(), if the cell that begins then is the first
 * of the turn; begin_cell(). done_signal() is asked after every one of these.
 */
typedef struct tp_track_writer {
    uint32_t struct_size; /* sizeof(tp_track_writer) when the library was compiled */
    uint16_t abi_major;   /* TP_ABI_MAJOR */
    uint16_t abi_minor;   /* TP_ABI_MINOR */
    const char *name;
    void *(*create)(const char *options);
    void (*destroy)(void *self);
    const char *(*last_error)(void *self);
    int32_t (*profile)(void *self, int64_t *values, uint32_t count);
    int32_t (*power_up)(void *self, const tp_profile *profile);

    /* A write of `words` is accepted now; none is under way. `start` is TP_START_NOW or
     * TP_START_INDEX. `write_protected`: the drive's line, 0 or 1, for profiles with
     * checks_protect: such a write is over at once, without completion. One of 0 words is done at
     * once. */
    int32_t (*write)(void *self, uint32_t transfer, uint32_t words, uint32_t start,
                     uint32_t write_protected);

    /* This write may fetch a word now: its low W bits, see write_unit. TP_YES: it takes it; TP_OK:
     * D words wait already, or that write is not under way; the same word is offered again. */
    int32_t (*offer)(void *self, uint32_t transfer, uint64_t word);

    /* A cell begins. TP_YES: the gate is open while it passes, and *bit is 1 for a flux transition
     * in it, else 0. TP_OK: the gate is closed. */
    int32_t (*begin_cell)(void *self, uint32_t *bit);

    /* TP_YES while a write waits or runs: from its acceptance until its gate has closed. */
    int32_t (*is_busy)(void *self);

    /* A cell ends; a write whose last owed bit was in it is over. Null: nothing happens then. */
    int32_t (*end_cell)(void *self);

    /* The cell that begins now is the first of the turn: writes that start at the index. One that
     * has fetched no word yet goes on waiting for the next. */
    int32_t (*index)(void *self);

    /* The write ends: the gate is closed within abort_to_gate, the FIFO is empty. */
    int32_t (*abort)(void *self);

    /* An abort; and what it keeps from write to write is as at power-up. */
    int32_t (*reset)(void *self);

    /* TP_YES if completion was signalled since this was asked last. */
    int32_t (*done_signal)(void *self);
} tp_track_writer;

const tp_track_writer *tp_track_writer_entry(uint32_t abi_major);

/*
 * A track encoder: the code of an image-backed drive that turns the data of sectors into the stream
 * of a track. Drives that stream it and a host that reads it raw are lent to it.
 */
typedef struct tp_track_encoder {
    uint32_t struct_size; /* sizeof(tp_track_encoder) when the library was compiled */
    uint16_t abi_major;   /* TP_ABI_MAJOR */
    uint16_t abi_minor;   /* TP_ABI_MINOR */
    const char *name;
    void *(*create)(const char *options);
    void (*destroy)(void *self);
    const char *(*last_error)(void *self);

    /* Makes the stream of one turn: fills stream[0 .. turn_bits / 8], the first channel bit is the
     * top bit of stream[0]; it comes filled with zeros. `track` and `form` are those of
     * TP_FORM_SECTORS, where both layouts are described; track->drive is 0. turn_bits is a multiple
     * of 16, and at least what the layout takes. The same track gives the same stream. */
    int32_t (*encode)(void *self, const tp_track *track, const tp_form *form, uint8_t *stream,
                      uint32_t turn_bits);
} tp_track_encoder;

const tp_track_encoder *tp_track_encoder_entry(uint32_t abi_major);

/*
 * A data separator: flux transitions in, channel bits out. The flux is lent to it: what was written,
 * the speed at which it passes, the push of neighbours. Since ABI minor 3.
 *
 * Of the profile these keys matter: recording, channel_bit_ns (T), window, rate_limit, lock_bits.
 * Legal intervals are 2 to 4 channel bits in MFM, 1 to 2 in FM. Once it has had lock_bits channel
 * bits of legal flux it must give every channel bit as it was written: at speeds within 3 % of
 * nominal, and while the speed steps, ramps or swings between cells of 0.892 and 1.112 of nominal
 * (ISO 8630-3, 4.4.2 and 4.4.3), also where neighbours push transitions by 5 % of a bit cell. Behind
 * what is no legal flux, an erased stretch or a splice, it must be right again after lock_bits of a
 * field of zeros (channel bits 101010...). What it gives before that, and of illegal flux, may be
 * anything, and about as many bits as have passed. How late it gives its bits is its own affair.
 */
typedef struct tp_data_separator {
    uint32_t struct_size; /* sizeof(tp_data_separator) when the library was compiled */
    uint16_t abi_major;   /* TP_ABI_MAJOR */
    uint16_t abi_minor;   /* TP_ABI_MINOR */
    const char *name;
    void *(*create)(const char *options);
    void (*destroy)(void *self);
    const char *(*last_error)(void *self);
    int32_t (*profile)(void *self, int64_t *values, uint32_t count);
    int32_t (*power_up)(void *self, const tp_profile *profile);

    /* Time has come to until_ns, in nanoseconds since power-up. transitions_ns: every transition
     * since the call before, `count` of them in rising order, none later than until_ns; null where
     * there is none. Fills `bits`, which comes filled with zeros, with the channel bits that are
     * known now, the oldest in the top bit of bits[0], and sets *bit_count, at most `capacity`.
     * TP_OK: that was all; TP_MORE: there are more, it is called again with the same time and
     * without transitions. */
    int32_t (*advance)(void *self, uint64_t until_ns, const uint64_t *transitions_ns,
                       uint32_t count, uint8_t *bits, uint32_t capacity, uint32_t *bit_count);
} tp_data_separator;

const tp_data_separator *tp_data_separator_entry(uint32_t abi_major);

#ifdef __cplusplus
}
#endif

#endif
