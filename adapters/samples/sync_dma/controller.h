/*
 * controller.h: the state of the whole controller, and what its parts offer each other.
 */
#ifndef CONTROLLER_H
#define CONTROLLER_H

#include "faults.h"
#include "trackproof.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* Values of the profile's choices, in the order in which trackproof.h names them. */
enum { RECORDING_FM, RECORDING_MFM };
enum { START_MATCH_DROP, START_MATCH_DELIVER };
enum { ALIGNED_MATCH_WORD, ALIGNED_MATCH_DROP };
enum { MISALIGNED_REALIGN_DROP, MISALIGNED_REALIGN_DELIVER, MISALIGNED_IGNORE };
enum { PARTIAL_DROP, PARTIAL_PAD_LOW, PARTIAL_FINISH };
enum { REALIGN_EVERY, REALIGN_FIRST, REALIGN_NEVER };
enum { COUNTER_FREE_RUNNING, COUNTER_ZEROED_AT_START };
enum { SYNC_WRITE_WHOLE, SYNC_WRITE_HALVES };
enum { SYNC_ON_LIVE_REALIGN, SYNC_ON_LIVE_NEXT_TRANSFER };
enum { SYNC_OFF_WAITING_START, SYNC_OFF_WAITING_WAIT };
enum { FLAG_LEVEL, FLAG_CLEAR_ON_READ, FLAG_CLEAR_ON_START, FLAG_EVENT };
enum { BYTE_CHANNEL_8, BYTE_DATA_8 };
enum { OVERRUN_LOSE_NEW, OVERRUN_LOSE_OLD, OVERRUN_STOP };
enum { UNDERRUN_REPEAT, UNDERRUN_ZEROS, UNDERRUN_CLOSE_GATE, UNDERRUN_HOLD };
enum { ERROR_FLAG_NONE, ERROR_FLAG_STICKY, ERROR_FLAG_PER_TRANSFER };
enum { READ_DONE_LAST_STORED, READ_DONE_LAST_COMPLETED };
enum { WRITE_DONE_LAST_FETCHED, WRITE_DONE_LAST_BIT, WRITE_DONE_GATE_OFF };
enum { START_BUSY_IGNORE, START_BUSY_REPLACE, START_BUSY_ERROR };
enum { ZERO_WORDS_NONE, ZERO_WORDS_MAXIMUM };
enum { NO_DRIVE_ZEROS, NO_DRIVE_ONES, NO_DRIVE_NOISE, NO_DRIVE_NOTHING };
enum { WRITE_CHANNEL_WORDS, WRITE_DATA_BYTES };
enum { FIRST_CONTEXT_0, FIRST_CONTEXT_1, FIRST_CONTEXT_LAST };
enum { INDEX_LEADING, INDEX_TRAILING };

enum {
    MAX_DRIVES = 4,
    CYLINDERS = 84,
    SIDES = 2,
    MAX_FIFO_WORDS = 1024, /* a power of two, so that places in a queue wrap by a mask */
    MAX_SECTORS = 255, /* of an image's track: their numbers are bytes */
    MAX_TURN_BITS = 1 << 24 /* a hundred times the densest track; bounds what power_up() copies */
};

/* -------------------------------------------------------------------------------------- state */

typedef struct {
    uint32_t words[MAX_FIFO_WORDS];
    uint32_t first; /* place of the oldest */
    uint32_t count;
} word_queue;

/* A recorded track. All zeros where nothing is recorded. */
typedef struct {
    uint8_t *cells;    /* a turn of channel bits, the first is the top bit of cells[0] */
    uint8_t *sectors;  /* of an image: the data of all sectors; else null */
    uint32_t cell_count;
    uint8_t cylinder, side;
    tp_form form;
} track;

typedef struct {
    uint32_t turn_bits;
    uint32_t start_bit;
    uint32_t cylinder;
    bool write_protected;
    bool change_clears_by_step; /* else by deselection */
    bool changed;
    bool motor;
    uint64_t spin_up_ns;
    uint64_t spinning_since_ns;
} drive;

/* What is in front of the head of the selected drive. */
typedef struct {
    bool gives_data;      /* a drive is selected and spins */
    const uint8_t *cells; /* null: zeros */
    uint32_t turn_bits;
    uint32_t position; /* the cell in front of the head */
} read_data;

/* Shift register, comparator and word counter. */
typedef struct {
    uint64_t history;         /* newest bit lowest; its low R bits are the register */
    uint64_t shifted;         /* bits shifted in since power-up */
    uint64_t match_at;        /* `shifted` at the newest match made */
    bool match_seen;          /* ... if there was one */
    bool equal, equal_before; /* register = sync word after the newest bit, and the one before */
    uint32_t bits_to_valid;   /* 0: the register is valid */
    uint32_t quiet_bits;      /* left of the refractory time */
    int32_t counter;          /* bits since the last word boundary */
    uint32_t byte_counter;
    uint64_t sync_word;
    uint64_t late_word, late_mask; /* bits of the sync word that change later than the rest */
    uint32_t late_cells;           /* ... and in how many cells; 0: none */
    bool hardware_sync;
    bool flag_latched;
} reader;

typedef struct {
    uint8_t value;
    bool unread, unread_before; /* the byte in the port, and the one that it overwrote */
    bool polled;
    uint64_t completed_ns, polled_ns;
} byte_port;

/* The first three but IDLE are a read's; what a write does is the business of its plan. */
typedef enum { IDLE, WAITS_FOR_MATCH, WAITS_FOR_INDEX, RUNS, WRITES } transfer_phase;

typedef struct {
    transfer_phase phase;
    uint32_t number;
    uint64_t words;  /* owed */
    uint64_t stored; /* of them taken by services */
    bool done;       /* signalled */
    bool stopped;    /* by an overrun: takes nothing in any more */
    bool deaf;       /* to matches until its end */
    bool realigned;  /* by a match off its word boundaries */
    bool next_is_no_word;        /* the counter's next boundary completes nothing */
    uint32_t finish_bits;        /* until a word of an older boundary completes; 0: none does */
    uint64_t accepted_at;        /* `shifted` then */
} transfer;

typedef enum {
    PLANS_NOTHING,
    AWAITS_WORD,  /* the first one, to start at once */
    AWAITS_MATCH,
    AWAITS_INDEX,
    AWAITS_GATE,  /* the start is fixed */
    SERIALISES,
    CLOSES,       /* its last word is through */
    IS_CUT        /* by a change of the lines */
} write_phase;

/* What the transfer that writes is to do, and how far it is. */
typedef struct {
    write_phase phase;
    write_phase start;        /* AWAITS_...: what it waits for to begin */
    uint32_t cells_to_gate;   /* from now to the gate's opening, once the start is fixed */
    size_t first;             /* place of its first word in `given` */
    uint64_t fetched;         /* words */
    uint64_t serialised;      /* of its words, fillers not counted */
    uint64_t cells_to_last_bit; /* counted after the last written cell; 0: not counting */
} write_plan;

typedef enum { GATE_LEAD, GATE_WORD, GATE_HOLD, GATE_TAIL } gate_stage;

/* The write gate, and what is written while it is open. */
typedef struct {
    bool open;
    bool closing;        /* at the next boundary */
    bool finishes_word;  /* before it closes: only set by a fault */
    bool lost;           /* the drive keeps nothing more */
    gate_stage stage;
    uint32_t cells_left; /* of this stage */
    uint32_t pulse_in;   /* cells from now to the tail's pulse, this one counted; 0: none */
    bool cell;           /* what the cell under the head is written with */
    bool data_before;    /* the data bit before the next one, for its clock bit */
    uint32_t word;       /* that was serialised last */
    uint64_t pattern;    /* the channel bits that are left of it, the next one highest */
    uint32_t word_cells; /* of it that are through */
    uint64_t zeros;      /* written since the last 1 */
    track *target;       /* null: nothing keeps what is written */
    uint32_t position;   /* on the target's turn */
    uint32_t turn_bits;
    uint64_t laid;       /* cells since the opening */
} write_gate;

typedef struct {
    uint64_t due_ns;
    uint64_t words;
    size_t first; /* of a write: place of its first word in `given` */
    uint32_t number;
    uint32_t start;
    bool writes;
} request;

/* Words that were handed over for a write that has not been asked for yet. */
typedef struct {
    uint32_t number;
    size_t first, count;
} gift;

typedef struct {
    tp_item *list;
    size_t count, given, room;
} item_buffer;

typedef struct {
    uint64_t faults;
    char error[256];

    /* Buffers, kept from case to case. */
    item_buffer items;
    request *requests; /* not yet accepted, oldest first */
    size_t request_count, request_room;
    uint8_t *recorded; /* all tracks' cells and sectors */
    size_t recorded_room;
    uint32_t *given; /* the words of writes, one write behind the other */
    size_t given_count, given_room;
    gift *gifts;
    size_t gift_count, gift_room;

    /* The profile, and what each channel bit needs of it. */
    int64_t keys[TP_KEY_COUNT];
    uint64_t cell_ns;
    uint64_t register_mask, compare_mask, word_mask;
    int32_t word_bits;
    uint32_t byte_bits;

    /* Time. */
    bool powered;
    bool failed; /* memory ran out */
    uint64_t now_ns;
    uint64_t cell_begin_ns; /* of the cell that is passing the head */
    bool cell_begun;        /* what its begin starts has been looked at */

    /* Drives and lines. */
    drive drives[MAX_DRIVES];
    uint32_t drive_count;
    track tracks[MAX_DRIVES][CYLINDERS][SIDES];
    uint32_t select_mask;
    drive *selected;
    uint32_t side;
    read_data source;
    uint64_t noise;

    /* The controller proper. */
    reader reader;
    byte_port port;
    transfer transfer;
    write_plan plan;
    write_gate gate;
    word_queue fifo;
    word_queue newest; /* words as they completed, for transfers that begin with old ones */
    bool done_shown;
    bool error_shown;
    bool joinable; /* the last transfer was a read, and words still fall where its words fell */
    uint64_t last_word_at; /* `shifted` when that read's last word completed */
    bool whole_write_before; /* the last write since reset came to its end */
    bool last_data_bit;      /* that was serialised */

    /* Only for faults. */
    bool transfer_ran;
    bool ghost;
    uint32_t ghost_number, ghost_word;
    uint64_t done_ns;
    bool aborted; /* since power-up */
    uint64_t abort_ns;
    bool track_zero_inverted;
    bool service_stolen;
    drive *selected_before;
    uint32_t side_before, plan_side; /* at the newest request, and at the one before the write */
    uint8_t *stale; /* a turn as it was before a write */
    size_t stale_room;
    const uint8_t *stale_of;
    uint32_t stale_left; /* cells */
} controller;

static inline bool fault(const controller *self, int which)
{
    return (self->faults >> which & 1) != 0;
}

static inline int64_t choice(const controller *self, int key)
{
    return self->keys[key];
}

static inline uint64_t low_bits(uint32_t count)
{
    return count >= 64 ? UINT64_MAX : (UINT64_C(1) << count) - 1;
}

/* -------------------------------------------------------------------------------------- parts */

/* buffers.c */
void queue_push(word_queue *queue, uint32_t word);
uint32_t queue_pop(word_queue *queue);
uint32_t *queue_at(word_queue *queue, uint32_t place);
bool make_room(void **buffer, size_t *room, size_t needed, size_t element_size);
void report(controller *self, uint32_t kind, uint32_t number, uint64_t value, bool flag);
int32_t fail(controller *self, const char *what, const char *where, int64_t value);

/* transfer.c */
bool busy(const controller *self);
uint32_t fifo_depth(const controller *self);
uint64_t words_taken_in(const controller *self);
void signal_done(controller *self);
void check_done(controller *self, int64_t event, uint64_t words);
void end_transfer(controller *self);
void kill_transfer(controller *self);
void take_in(controller *self, uint32_t word);
void serve(controller *self, uint32_t number);
void accept(controller *self, const request *asked);

/* reader.c */
void zero_counter(controller *self);
void start_running(controller *self);
void start_raw(controller *self);
void start_raw_at_once(controller *self);
bool register_equals_sync_word(const controller *self);
void invalidate_register(controller *self);
bool flag_enabled(const controller *self);
void shift_in(controller *self, uint64_t bit);

/* writer.c */
bool is_protected(const controller *self, const drive *d);
void begin_write(controller *self, const request *asked);
void fetch_word(controller *self);
void write_sees_match(controller *self);
void begin_written_cell(controller *self);
void lay_cell(controller *self);
void end_written_cell(controller *self);
void abort_write(controller *self);
void lose_write(controller *self);
void flash_gate(controller *self);

/* image.c */
uint32_t image_cells(const tp_form *form);
void make_stream(const controller *self, track *image);
void decode_stream(track *image);
uint8_t data_bits(uint64_t channel_bits);

/* time.c */
void land_late_sync_bits(controller *self);
void pass_cells(controller *self, uint64_t until_ns);

/* drives.c */
uint32_t cell_at_head(const controller *self, const drive *d);
bool at_cell(const controller *self, uint32_t cell);
track *track_at(controller *self, const drive *d, uint32_t side);
void aim_head(controller *self);
void set_select(controller *self, uint32_t mask);
void set_motor(controller *self, uint32_t mask);
void set_side(controller *self, uint32_t side);
void step(controller *self, bool towards_zero);
uint32_t drive_lines(const controller *self);

/* commands.c */
void poll_status(controller *self);
void poll_byte(controller *self);
void set_sync_word(controller *self, uint64_t word);
void set_hardware_sync(controller *self, bool on);
void reset(controller *self);

/* events.c */
int32_t live_through(controller *self, const tp_event *event);

/* power_up.c */
int32_t begin_case(controller *self, const tp_setup *setup);

#endif
