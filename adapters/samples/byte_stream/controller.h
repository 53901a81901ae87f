/*
 * A polled byte controller with its drives: one struct, a part for each C file.
 *
 * The controller shifts channel bits in, compares them with a sync word, frames words of 16 channel
 * bits (8 data bits), shows the newest byte, and hands words over one by one. It writes data bytes,
 * for which it makes the clock bits. Everything moves a cell (a channel bit) at a time; cell k lasts
 * from k T to (k + 1) T.
 *
 *   adapter.c   the table of functions that trackproof calls
 *   settings.c  which profiles it takes
 *   time.c      cells and events in their order
 *   host.c      what each event does, what polls answer
 *   drives.c    drives, their lines, the track under the head
 *   reader.c    register, comparator, word counter, byte port
 *   transfer.c  requests, the words between host and controller, abort and reset
 *   writer.c    write gate and serialiser
 *   encoder.c   data bits to channel bits
 *   image.c     tracks that are made of sectors, and back
 *   soft_sector.c, full_track.c   where the fields of their two layouts lie
 */
#ifndef CONTROLLER_H
#define CONTROLLER_H

#include "faults.h"
#include "trackproof.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { MAX_DRIVES = 4, LAST_CYLINDER = 83, WIDEST = 64, ERROR_TEXT = 200 };

/* The values of the profile's choices, as trackproof.h numbers them. */
enum { FM, MFM };
enum { MISALIGNED_REALIGN_DROP, MISALIGNED_REALIGN_DELIVER, MISALIGNED_IGNORE };
enum { PARTIAL_DROP, PARTIAL_PAD_LOW, PARTIAL_FINISH };
enum { REALIGN_EVERY, REALIGN_FIRST, REALIGN_NEVER };
enum { FLAG_LEVEL, FLAG_CLEAR_ON_READ, FLAG_CLEAR_ON_START, FLAG_EVENT };
enum { OVERRUN_LOSE_NEW, OVERRUN_LOSE_OLD, OVERRUN_STOP };
enum { UNDERRUN_REPEAT, UNDERRUN_ZEROS, UNDERRUN_CLOSE_GATE, UNDERRUN_HOLD };
enum { ERROR_NONE, ERROR_STICKY, ERROR_PER_TRANSFER };
enum { READ_DONE_STORED, READ_DONE_COMPLETED };
enum { WRITE_DONE_FETCHED, WRITE_DONE_LAST_BIT, WRITE_DONE_GATE_OFF };
enum { BUSY_IGNORE, BUSY_REPLACE, BUSY_ERROR };
enum { NO_DRIVE_ZEROS, NO_DRIVE_ONES, NO_DRIVE_NOISE, NO_DRIVE_NOTHING };
enum { CONTEXT_0, CONTEXT_1, CONTEXT_LAST };

/* ---- drives.c ---- */

typedef struct track {
    uint32_t drive, cylinder, side;
    uint32_t turn_bits;
    uint8_t *bits;        /* a turn of channel bits, the first in the top bit of bits[0] */
    tp_form form;
    uint8_t *sectors;     /* of an image: the data of all sectors; else null */
    size_t sector_bytes;  /* how many */
    bool written;         /* since the gate opened */
} track;

typedef struct drive {
    tp_drive is;              /* as the bench says; .cylinder moves with the head */
    bool motor;
    uint64_t motor_since_ns;
    bool changed;             /* the change line */
} drive;

/* ---- reader.c ---- */

typedef struct reader {
    uint64_t history;     /* the last 64 bits, the newest lowest; the register is the low R */
    unsigned from_source; /* bits since the source changed, up to R: then the register is valid */
    uint64_t sync_word;
    bool sync_on;
    unsigned phase;       /* bits since the word boundary, below W */
    unsigned byte_phase;  /* bits since the byte's boundary */
    unsigned deaf;        /* bits left in which no match is made */
    bool flag;            /* the latched match flag */
    uint8_t byte;
    bool byte_new;
} reader;

/* ---- transfer.c ---- */

enum stage {
    STAGE_IDLE,
    STAGE_WAITING, /* for its match, its index or its first word */
    STAGE_RUNNING
};

typedef struct transfer {
    enum stage stage;
    bool writes;
    uint32_t number;
    uint32_t start;        /* TP_START_... */
    uint64_t words;        /* N */
    uint64_t moved;        /* words that services have moved */
    bool stopped;          /* by an overrun: takes nothing more in */
    bool realigned;        /* a misaligned match has realigned it */
    bool sync_came_late;   /* sync was switched on while it ran: it takes no notice */
} transfer;

/* Words on their way: completed and not taken, or fetched and not written. */
typedef struct fifo {
    uint64_t *words;
    size_t depth, first, count;
} fifo;

/* ---- writer.c ---- */

#define NEVER UINT64_MAX

typedef struct writer {
    uint64_t *offered;      /* what give() brought for the next request */
    size_t offered_count;
    uint64_t *words;        /* of the write under way */
    bool gate;
    bool closing;           /* the gate closes when the cell under way ends */
    uint64_t opens_at;      /* the cell at which the gate is to open, or NEVER */
    unsigned lead;          /* cells until the first channel bit */
    uint64_t last_word;     /* the one that the serialiser took last, as the host gave it */
    uint64_t bits;          /* its channel bits; the next one stands at bits_left - 1 */
    unsigned bits_left;
    bool bit;               /* the channel bit of the cell under way */
    uint64_t begun;         /* owed words that the serialiser has taken */
    unsigned to_last_bit;   /* with the last word in the serialiser: bits until the end */
    unsigned to_gate_off;   /* behind the last bit: cells until the gate closes */
    bool ended;             /* the last bit is written, the gate still open */
    bool context;           /* the data bit written last */
    bool joins;             /* there was a write, and it was not aborted */
    bool behind_mark;       /* for a fault: the word before was a mark */
    bool late;              /* for a fault: a byte more was written at an underrun */
} writer;

/* ---- all of it ---- */

typedef struct controller {
    int64_t choice[TP_KEY_COUNT];
    unsigned word_bits, register_bits;
    uint64_t bit_ns;

    uint64_t cell;          /* the cell that is under way, or begins next */
    bool in_cell;           /* it has begun */
    uint64_t now_ns;

    drive drives[MAX_DRIVES];
    uint32_t drive_count;
    int selected;           /* -1: none */
    uint32_t side;
    track *tracks;
    uint32_t track_count;
    track *under_head;      /* of the selected drive; null: nothing recorded, or none selected */

    reader reader;
    transfer transfer;
    fifo fifo;
    writer writer;

    bool done, error;       /* bits of the status */
    bool read_ended;        /* a read's last word completed, and no realigning, abort, reset since */
    uint64_t read_ended_ns;

    tp_item *items;
    size_t item_count, item_room, items_given;
    bool out_of_memory;     /* an item could not be kept */
    char why[ERROR_TEXT];   /* what failed last */
    bool faults[FAULT_COUNT];
} controller;

static inline bool fault(const controller *c, enum fault which) {
    return c->faults[which];
}

static inline bool is(const controller *c, int key, int64_t value) {
    return c->choice[key] == value;
}

/* The low `count` bits set, up to 64. */
static inline uint64_t ones(unsigned count) {
    return count == 0 ? 0 : ~UINT64_C(0) >> (WIDEST - count);
}

static inline bool bit_of(const uint8_t *bits, size_t at) {
    return bits[at / 8] >> (7 - at % 8) & 1;
}

static inline void set_bit(uint8_t *bits, size_t at, bool value) {
    uint8_t mask = (uint8_t)(0x80 >> at % 8);
    bits[at / 8] = (uint8_t)(value ? bits[at / 8] | mask : bits[at / 8] & ~mask);
}

/* adapter.c: tells the host; keeps why a call fails. */
void tell(controller *c, uint32_t kind, uint32_t transfer, uint64_t value, bool flag);
int32_t fail(controller *c, const char *format, ...);

/* settings.c */
int32_t settings_take(controller *c, const tp_profile *profile);

/* time.c */
void time_begin(controller *c);
void time_pass(controller *c, uint64_t until_ns);

/* host.c */
void host_event(controller *c, const tp_event *event);

/* drives.c */
int32_t drives_take(controller *c, const tp_setup *setup);
void drives_free(controller *c);
void drives_select(controller *c, uint32_t mask);
void drives_motor(controller *c, uint32_t mask);
void drives_side(controller *c, uint32_t side);
void drives_step(controller *c, bool out);
bool drives_spin(const controller *c);             /* the selected one does */
bool drives_protected(const controller *c);        /* the selected one is */
uint32_t drives_position(const controller *c);     /* of the present cell on the selected one */
uint32_t drives_lines(const controller *c);        /* as bits of the status */
track *drives_track(const controller *c, uint32_t drive, uint32_t cylinder, uint32_t side);

/* reader.c */
void reader_power_up(controller *c);
void reader_source_changed(controller *c);
void reader_zero_counter(controller *c);
bool reader_match_shows(const controller *c);
void reader_shift(controller *c);                  /* a cell has ended */
uint64_t reader_word(const controller *c);         /* the last W bits */

/* transfer.c */
void transfer_request(controller *c, const tp_event *event);
void transfer_start(controller *c);                /* a read starts raw */
void transfer_take_in(controller *c, uint64_t word);
void transfer_service(controller *c, uint32_t number);
void transfer_done(controller *c);
void transfer_end(controller *c);
void transfer_lost(controller *c);
void transfer_sync(controller *c, bool on);
void transfer_abort(controller *c);
void transfer_reset(controller *c);
bool fifo_put(controller *c, uint64_t word);
uint64_t fifo_get(controller *c);

/* writer.c */
void writer_begin_cell(controller *c);
void writer_end_cell(controller *c);
void writer_match(controller *c);
void writer_lines_changed(controller *c);
void writer_abort(controller *c);

/* encoder.c */
void encoder_begin_write(controller *c);
uint64_t encoder_word(controller *c, uint64_t word); /* its W channel bits, the first highest */
bool encoder_clock(bool fm, bool before, bool data);

/* image.c */
void image_stream(track *t);                       /* makes the channel bits of the sectors */
void image_decode(track *t);                       /* takes over the sectors that can be read */

#endif
