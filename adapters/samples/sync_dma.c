/*
 * sync_dma.c: a sample floppy controller that finds the sync word in hardware and moves words by
 * bus mastering, with up to four drives. It reads; it cannot write.
 *
 * A template to copy, and a subject for trackproof's own tests: it takes its profile when power
 * comes on, and create() can be asked for faults by name (the table below, faults.toml beside this
 * file). Every fault is one `if (fault(self, ...))`; without them the controller is meant to be
 * right.
 *
 * Its truth is the header trackproof.h and the keys' meanings in
 * adapters/contract/profiles/sync-dma.toml. It lives through time one channel bit at a time. At one
 * moment the bit that ends there comes first, then the services of the running transfer, then the
 * requests that are accepted there, then the other events; index starts come last.
 *
 * From top to bottom: faults, choices, state, what is reported, transfer, reader, time, drives,
 * commands, events, power-up, the table of functions.
 *
 *     cc -std=c11 -O2 -fPIC -shared -fvisibility=hidden -I../c-abi/include \
 *         sync_dma.c -o sync_dma.so
 */
#include "trackproof.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(_WIN32)
#define EXPORTED __declspec(dllexport)
#else
#define EXPORTED __attribute__((visibility("default")))
#endif

/* ------------------------------------------------------------------------------------- faults */

#define FAULTS(X)                                                 \
    X(COMPARATOR_STAYS_ON, "comparator-stays-on")                 \
    X(REALIGNS_ONCE, "realigns-once")                             \
    X(MATCH_DELIVERED_TWICE, "match-delivered-twice")             \
    X(LATE_AFTER_REALIGN, "late-after-realign")                   \
    X(EVEN_PHASE_ONLY, "even-phase-only")                         \
    X(STALE_FIRST_WORD, "stale-first-word")                       \
    X(SLIPS_AT_WRAP, "slips-at-wrap")                             \
    X(OUTPUT_DISTURBS_STATUS, "output-disturbs-status")           \
    X(OVERRUN_LOSES_HALF, "overrun-loses-half")                   \
    X(STATUS_OF_OTHER_DRIVE, "status-of-other-drive")             \
    X(BYTE_TORN, "byte-torn")                                     \
    X(EDGE_BYTE_UNFLAGGED, "edge-byte-unflagged")                 \
    X(WRAP_MATCH_MISSED, "wrap-match-missed")                     \
    X(SYNC_WORD_LATE, "sync-word-late")                           \
    X(WAITING_READ_STARTS_ITSELF, "waiting-read-starts-itself")   \
    X(FLAG_LAGS, "flag-lags")                                     \
    X(REGISTER_SURVIVES_SWITCH, "register-survives-switch")       \
    X(OVERLAP_IGNORED, "overlap-ignored")                         \
    X(ONE_WORD_SHORT, "one-word-short")                           \
    X(SWAPPED_WHEN_FULL, "swapped-when-full")                     \
    X(REARM_LOST, "rearm-lost")                                   \
    X(DONE_EARLY, "done-early")                                   \
    X(DONE_TWICE, "done-twice")                                   \
    X(WORD_AFTER_ABORT, "word-after-abort")                       \
    X(RESET_KEEPS_SYNC_WORD, "reset-keeps-sync-word")             \
    X(RESET_KEEPS_ENABLE, "reset-keeps-enable")                   \
    X(RESET_KEEPS_FIFO, "reset-keeps-fifo")                       \
    X(BYTE_FLAG_STAYS, "byte-flag-stays")                         \
    X(SEAM_DROPS_BIT, "seam-drops-bit")                           \
    X(BUSY_REQUEST_REPLACES, "busy-request-replaces")             \
    X(PAST_MATCH_STARTS, "past-match-starts")                     \
    X(POLL_STEALS_SERVICE, "poll-steals-service")                 \
    X(OTHER_MOTOR_RESTARTS_READY, "other-motor-restarts-ready")

#define FAULT_ENUM(id, name) FAULT_##id,
#define FAULT_NAME(id, name) name,
#define FAULT_LISTED(id, name) " " name

enum { FAULTS(FAULT_ENUM) FAULT_COUNT };

static const char *const fault_names[FAULT_COUNT] = {FAULTS(FAULT_NAME)};

_Static_assert(FAULT_COUNT <= 64, "faults are the bits of one uint64_t");

/* ------------------------------------------------------------------------------------ choices */

/* Values of the profile's choices, in the order in which trackproof.h names them. */
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
enum { ERROR_FLAG_NONE, ERROR_FLAG_STICKY, ERROR_FLAG_PER_TRANSFER };
enum { READ_DONE_LAST_STORED, READ_DONE_LAST_COMPLETED };
enum { START_BUSY_IGNORE, START_BUSY_REPLACE, START_BUSY_ERROR };
enum { ZERO_WORDS_NONE, ZERO_WORDS_MAXIMUM };
enum { NO_DRIVE_ZEROS, NO_DRIVE_ONES, NO_DRIVE_NOISE, NO_DRIVE_NOTHING };

enum {
    MAX_DRIVES = 4,
    CYLINDERS = 84,
    SIDES = 2,
    MAX_FIFO_WORDS = 1024, /* a power of two, so that places in a queue wrap by a mask */
    MAX_TURN_BITS = 1 << 24 /* a hundred times the densest track; bounds what power_up() copies */
};

/* The keys that a reader needs, with the values that can be served. All others are ignored. */
static const struct {
    uint32_t key;
    const char *name;
    int64_t least, most;
} key_ranges[] = {
    {TP_KEY_CHANNEL_BIT_NS, "channel_bit_ns", 1, 1000000},
    {TP_KEY_REGISTER_BITS, "register_bits", 1, 64},
    {TP_KEY_WORD_BITS, "word_bits", 8, 32},
    {TP_KEY_START_MATCH, "start_match", 0, START_MATCH_DELIVER},
    {TP_KEY_ALIGNED_MATCH, "aligned_match", 0, ALIGNED_MATCH_DROP},
    {TP_KEY_MISALIGNED_MATCH, "misaligned_match", 0, MISALIGNED_IGNORE},
    {TP_KEY_PARTIAL, "partial", 0, PARTIAL_FINISH},
    {TP_KEY_REALIGN, "realign", 0, REALIGN_NEVER},
    {TP_KEY_REFRACTORY, "refractory", 0, INT32_MAX},
    {TP_KEY_SLACK_MIN, "slack_min", 0, 64},
    {TP_KEY_COUNTER, "counter", 0, COUNTER_ZEROED_AT_START},
    {TP_KEY_LATCH_WORDS, "latch_words", 0, INT32_MAX},
    {TP_KEY_FLAG_WHEN_OFF, "flag_when_off", 0, 1},
    {TP_KEY_SYNC_WRITE, "sync_write", 0, SYNC_WRITE_HALVES},
    {TP_KEY_SYNC_ON_LIVE, "sync_on_live", 0, SYNC_ON_LIVE_NEXT_TRANSFER},
    {TP_KEY_SYNC_OFF_WAITING, "sync_off_waiting", 0, SYNC_OFF_WAITING_WAIT},
    {TP_KEY_FLAG, "flag", 0, FLAG_EVENT},
    {TP_KEY_POLL_JITTER, "poll_jitter", 0, INT32_MAX},
    {TP_KEY_STRADDLE, "straddle", 0, 1},
    {TP_KEY_BYTE_PORT, "byte_port", 0, 1},
    {TP_KEY_BYTE, "byte", 0, BYTE_DATA_8},
    {TP_KEY_FIFO_WORDS, "fifo_words", 1, MAX_FIFO_WORDS},
    {TP_KEY_OVERRUN, "overrun", 0, OVERRUN_STOP},
    {TP_KEY_ERROR_FLAG, "error_flag", 0, ERROR_FLAG_PER_TRANSFER},
    {TP_KEY_READ_DONE, "read_done", 0, READ_DONE_LAST_COMPLETED},
    {TP_KEY_START_BUSY, "start_busy", 0, START_BUSY_ERROR},
    {TP_KEY_ZERO_WORDS, "zero_words", 0, ZERO_WORDS_MAXIMUM},
    {TP_KEY_MAX_WORDS, "max_words", 1, INT64_MAX},
    {TP_KEY_READ_JOIN, "read_join", 0, 1},
    {TP_KEY_RESET_CLEARS_REGISTER, "reset_clears_register", 0, 1},
    {TP_KEY_NO_DRIVE_READ, "no_drive_read", 0, NO_DRIVE_NOTHING},
};

/* -------------------------------------------------------------------------------------- state */

typedef struct {
    uint32_t words[MAX_FIFO_WORDS];
    uint32_t first; /* place of the oldest */
    uint32_t count;
} word_queue;

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
    const uint8_t *track; /* null: zeros */
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

typedef enum { IDLE, WAITS_FOR_MATCH, WAITS_FOR_INDEX, RUNS } transfer_phase;

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

typedef struct {
    uint64_t due_ns;
    uint64_t words;
    uint32_t number;
    uint32_t start;
} request;

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
    uint8_t *recorded;
    size_t recorded_room;

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
    const uint8_t *tracks[MAX_DRIVES][CYLINDERS][SIDES];
    uint32_t select_mask;
    drive *selected;
    uint32_t side;
    read_data source;
    uint64_t noise;

    /* The controller proper. */
    reader reader;
    byte_port port;
    transfer transfer;
    word_queue fifo;
    word_queue newest; /* words as they completed, for transfers that begin with old ones */
    bool done_shown;
    bool error_shown;
    bool joinable; /* the last transfer was a read, and words still fall where its words fell */
    uint64_t last_word_at; /* `shifted` when that read's last word completed */

    /* Only for faults. */
    bool transfer_ran;
    bool ghost;
    uint32_t ghost_number, ghost_word;
    uint64_t done_ns;
    bool track_zero_inverted;
    bool service_stolen;
} controller;

static bool fault(const controller *self, int which)
{
    return (self->faults >> which & 1) != 0;
}

static int64_t choice(const controller *self, int key)
{
    return self->keys[key];
}

static uint64_t low_bits(uint32_t count)
{
    return count >= 64 ? UINT64_MAX : (UINT64_C(1) << count) - 1;
}

/* --------------------------------------------------------------------- queues and what is seen */

static void queue_push(word_queue *queue, uint32_t word)
{
    queue->words[(queue->first + queue->count++) % MAX_FIFO_WORDS] = word;
}

static uint32_t queue_pop(word_queue *queue)
{
    uint32_t word = queue->words[queue->first];
    queue->first = (queue->first + 1) % MAX_FIFO_WORDS;
    queue->count--;
    return word;
}

static uint32_t *queue_at(word_queue *queue, uint32_t place)
{
    return &queue->words[(queue->first + place) % MAX_FIFO_WORDS];
}

/* Doubles a buffer until `needed` elements fit. On failure the old buffer stays. */
static bool make_room(void **buffer, size_t *room, size_t needed, size_t element_size)
{
    size_t larger = *room > 0 ? *room : 64;
    while (larger < needed) {
        if (larger > SIZE_MAX / 2 / element_size) return false;
        larger *= 2;
    }
    if (larger == *room) return true;
    void *moved = realloc(*buffer, larger * element_size);
    if (moved == NULL) return false;
    *buffer = moved;
    *room = larger;
    return true;
}

static void report(controller *self, uint32_t kind, uint32_t number, uint64_t value, bool flag)
{
    item_buffer *items = &self->items;
    if (items->count == items->room) {
        void *list = items->list;
        if (!make_room(&list, &items->room, items->count + 1, sizeof *items->list)) {
            self->failed = true;
            return;
        }
        items->list = list;
    }
    items->list[items->count++] = (tp_item){
        .at_ns = self->now_ns, .kind = kind, .transfer = number, .flag = flag, .value = value};
}

/* ----------------------------------------------------------------------------------- transfer */

static bool busy(const controller *self)
{
    return self->transfer.phase != IDLE;
}

static uint64_t words_taken_in(const controller *self)
{
    return self->transfer.stored + self->fifo.count;
}

static void signal_done(controller *self)
{
    report(self, TP_ITEM_DONE, 0, 0, false);
    if (fault(self, FAULT_DONE_TWICE)) report(self, TP_ITEM_DONE, 0, 0, false);
    self->done_shown = true;
    self->done_ns = self->now_ns;
}

/* Signals completion, once, when `words` words of the transfer have come as far as counts. */
static void check_done(controller *self, int64_t event, uint64_t words)
{
    transfer *t = &self->transfer;
    uint64_t needed = t->words;
    if (fault(self, FAULT_DONE_EARLY) && needed > 1) needed--;
    if (t->done || choice(self, TP_KEY_READ_DONE) != event || words < needed) return;
    t->done = true;
    signal_done(self);
}

static void end_transfer(controller *self)
{
    self->transfer = (transfer){.phase = IDLE};
}

/* Ends the transfer without done. Only the register may still show something of before. */
static void kill_transfer(controller *self)
{
    if (fault(self, FAULT_WORD_AFTER_ABORT) && busy(self) && self->fifo.count > 0) {
        self->ghost = true;
        self->ghost_number = self->transfer.number;
        self->ghost_word = *queue_at(&self->fifo, 0);
    }
    end_transfer(self);
    self->fifo.count = 0;
    self->newest.count = 0;
    self->done_shown = false;
    self->joinable = false;
}

/* A word is lost. True when there is room now for the new one. */
static bool overrun(controller *self)
{
    if (choice(self, TP_KEY_ERROR_FLAG) != ERROR_FLAG_NONE) self->error_shown = true;
    if (fault(self, FAULT_OVERRUN_LOSES_HALF)) self->reader.counter = self->word_bits / 2;
    switch (choice(self, TP_KEY_OVERRUN)) {
    case OVERRUN_LOSE_OLD:
        queue_pop(&self->fifo);
        return true;
    case OVERRUN_STOP:
        self->transfer.stopped = true;
        return false;
    default:
        return false;
    }
}

/* A word has completed while the transfer runs. */
static void take_in(controller *self, uint32_t word)
{
    transfer *t = &self->transfer;
    if (t->stopped || words_taken_in(self) >= t->words) return; /* not its own */
    if (self->fifo.count >= choice(self, TP_KEY_FIFO_WORDS) && !overrun(self)) return;
    queue_push(&self->fifo, word);

    uint64_t taken_in = words_taken_in(self);
    if (taken_in >= t->words) {
        self->joinable = true;
        self->last_word_at = self->reader.shifted;
    }
    if (fault(self, FAULT_SEAM_DROPS_BIT) && taken_in % 8 == 0 && !self->reader.hardware_sync)
        self->reader.counter = -1;
    check_done(self, READ_DONE_LAST_COMPLETED, taken_in);
}

/* The bus is the transfer's to move a word; void when it does not run or no word waits. */
static void serve(controller *self, uint32_t number)
{
    transfer *t = &self->transfer;
    if (self->ghost && number == self->ghost_number) { /* only set by a fault */
        report(self, TP_ITEM_WORD, number, self->ghost_word, false);
        self->ghost = false;
    }
    if (t->phase != RUNS || t->number != number || self->fifo.count == 0) return;
    if (self->service_stolen) { /* only set by a fault */
        self->service_stolen = false;
        return;
    }
    if (fault(self, FAULT_SWAPPED_WHEN_FULL) && self->fifo.count > 1 &&
        self->fifo.count == choice(self, TP_KEY_FIFO_WORDS)) {
        uint32_t oldest = *queue_at(&self->fifo, 0);
        *queue_at(&self->fifo, 0) = *queue_at(&self->fifo, 1);
        *queue_at(&self->fifo, 1) = oldest;
    }
    report(self, TP_ITEM_WORD, number, queue_pop(&self->fifo), false);
    t->stored++;
    check_done(self, READ_DONE_LAST_STORED, t->stored);
    if (t->stored >= t->words || (t->stopped && self->fifo.count == 0)) end_transfer(self);
}

/* ------------------------------------------------------------------------------------- reader */

static uint32_t newest_word(const controller *self)
{
    return (uint32_t)(self->reader.history & self->word_mask);
}

/* Bytes are counted apart from words, since 16 channel bits need not be whole words, but zeroed
 * with them. */
static void zero_counter(controller *self)
{
    self->reader.counter = 0;
    self->reader.byte_counter = 0;
}

static void complete_word(controller *self, uint32_t word)
{
    if (self->newest.count == MAX_FIFO_WORDS) queue_pop(&self->newest);
    queue_push(&self->newest, word);
    if (self->transfer.phase == RUNS) take_in(self, word);
}

/* The counter has counted W. */
static void complete_counted_word(controller *self)
{
    self->reader.counter = 0;
    if (self->transfer.next_is_no_word)
        self->transfer.next_is_no_word = false;
    else
        complete_word(self, newest_word(self));
}

static void start_running(controller *self)
{
    self->transfer.phase = RUNS;
    self->transfer_ran = true;
    check_done(self, READ_DONE_LAST_COMPLETED, words_taken_in(self)); /* old words may be all */
}

/* Whether a read that starts now, at once, goes on with the bit after the last read's last word. */
static bool joins(const controller *self)
{
    return choice(self, TP_KEY_READ_JOIN) && self->joinable &&
           self->reader.shifted - self->last_word_at < (uint64_t)self->word_bits;
}

static void start_raw(controller *self)
{
    if (choice(self, TP_KEY_COUNTER) == COUNTER_ZEROED_AT_START) zero_counter(self);
    start_running(self);
}

static void start_raw_at_once(controller *self)
{
    if (!joins(self)) {
        start_raw(self);
        return;
    }
    self->reader.counter = (int32_t)(self->reader.shifted - self->last_word_at);
    start_running(self);
}

/* The match that a transfer waits for. */
static void take_start_match(controller *self, bool on_boundary)
{
    if (choice(self, TP_KEY_START_MATCH) == START_MATCH_DELIVER) {
        start_running(self);
        zero_counter(self);
        complete_word(self, newest_word(self));
    } else {
        if (on_boundary) complete_word(self, newest_word(self)); /* before the start: not its own */
        start_running(self);
        zero_counter(self);
    }
}

static void take_aligned_match(controller *self)
{
    transfer *t = &self->transfer;
    bool is_word = choice(self, TP_KEY_ALIGNED_MATCH) == ALIGNED_MATCH_WORD && !t->next_is_no_word;
    t->next_is_no_word = false;
    zero_counter(self);
    if (!is_word) return;
    complete_word(self, newest_word(self));
    if (fault(self, FAULT_MATCH_DELIVERED_TWICE)) complete_word(self, newest_word(self));
}

static bool realigns(const controller *self)
{
    bool again = self->transfer.realigned;
    if (fault(self, FAULT_REALIGNS_ONCE) && again) return false;
    return choice(self, TP_KEY_MISALIGNED_MATCH) != MISALIGNED_IGNORE &&
           (choice(self, TP_KEY_REALIGN) == REALIGN_EVERY ||
            (choice(self, TP_KEY_REALIGN) == REALIGN_FIRST && !again));
}

/* What becomes of the bits since the last boundary when the counter is about to be zeroed. */
static void close_partial_word(controller *self)
{
    transfer *t = &self->transfer;
    int32_t bits = self->reader.counter;
    if (bits < 1) return; /* only by a fault: the counter may stand before a boundary */
    switch (choice(self, TP_KEY_PARTIAL)) {
    case PARTIAL_PAD_LOW: {
        uint64_t partial = self->reader.history & low_bits((uint32_t)bits);
        complete_word(self, (uint32_t)(partial << (self->word_bits - bits)));
        break;
    }
    case PARTIAL_FINISH:
        /* The bits after an earlier realigning match are no word, so nothing is finished there. */
        if (!t->next_is_no_word) t->finish_bits = (uint32_t)(self->word_bits - bits);
        t->next_is_no_word = true;
        break;
    default:
        break;
    }
}

static void take_misaligned_match(controller *self)
{
    if (!realigns(self)) return;
    self->transfer.realigned = true;
    close_partial_word(self);
    if (choice(self, TP_KEY_MISALIGNED_MATCH) == MISALIGNED_REALIGN_DELIVER)
        complete_word(self, newest_word(self));
    zero_counter(self);
    self->joinable = false;
    if (fault(self, FAULT_LATE_AFTER_REALIGN)) self->reader.counter = -1;
}

static void take_match(controller *self, bool on_boundary)
{
    transfer *t = &self->transfer;
    switch (t->phase) {
    case IDLE:
    case WAITS_FOR_INDEX:
        if (on_boundary)
            complete_word(self, newest_word(self));
        else
            self->joinable = false;
        zero_counter(self);
        break;
    case WAITS_FOR_MATCH:
        take_start_match(self, on_boundary);
        break;
    case RUNS:
        if (on_boundary && t->deaf)
            complete_counted_word(self);
        else if (on_boundary)
            take_aligned_match(self);
        else if (!t->deaf)
            take_misaligned_match(self);
        break;
    }
}

/* Faults of the comparator: an equality that it does not see. */
static bool overlooks(const controller *self)
{
    const read_data *source = &self->source;
    if (fault(self, FAULT_EVEN_PHASE_ONLY) && self->reader.shifted % 2 != 0) return true;
    return fault(self, FAULT_WRAP_MATCH_MISSED) && source->gives_data && source->position > 0 &&
           source->position < choice(self, TP_KEY_REGISTER_BITS);
}

static bool register_equals_sync_word(const controller *self)
{
    const reader *r = &self->reader;
    return ((r->history ^ r->sync_word) & self->compare_mask) == 0 && r->bits_to_valid == 0 &&
           !overlooks(self);
}

static bool flag_enabled(const controller *self)
{
    return self->reader.hardware_sync || choice(self, TP_KEY_FLAG_WHEN_OFF);
}

/* The register has come to equal the sync word. Neither refractory time nor transfers matter. */
static void flag_match(controller *self)
{
    if (!flag_enabled(self)) return;
    self->reader.flag_latched = true;
    if (choice(self, TP_KEY_FLAG) == FLAG_EVENT) report(self, TP_ITEM_MATCH, 0, 0, false);
}

/* Whether a match is made for start, alignment and counter. */
static bool match_is_made(controller *self, bool equal)
{
    reader *r = &self->reader;
    if (!r->hardware_sync && !fault(self, FAULT_COMPARATOR_STAYS_ON)) return false;
    if (r->quiet_bits > 0) {
        r->quiet_bits--;
        return false;
    }
    if (!equal) return false;
    r->quiet_bits = (uint32_t)choice(self, TP_KEY_REFRACTORY);
    if (fault(self, FAULT_OVERLAP_IGNORED) && r->quiet_bits < choice(self, TP_KEY_REGISTER_BITS))
        r->quiet_bits = (uint32_t)choice(self, TP_KEY_REGISTER_BITS) - 1;
    r->match_at = r->shifted;
    r->match_seen = true;
    return true;
}

/* The data bits of 16 channel bits: every second one, the last one lowest. */
static uint8_t data_bits(uint64_t channel_bits)
{
    uint32_t byte = 0;
    for (uint32_t n = 0; n < 8; n++) byte |= (uint32_t)(channel_bits >> (2 * n) & 1) << n;
    return (uint8_t)byte;
}

static void complete_byte(controller *self)
{
    byte_port *port = &self->port;
    uint64_t history = self->reader.history;
    port->value = self->byte_bits == 8 ? (uint8_t)(history & 0xff) : data_bits(history);
    port->unread_before = port->unread;
    port->unread = true;
    port->completed_ns = self->now_ns;
    if (fault(self, FAULT_EDGE_BYTE_UNFLAGGED) && port->polled &&
        self->now_ns - port->polled_ns <= (uint64_t)choice(self, TP_KEY_POLL_JITTER))
        port->unread = false;
}

/* One channel bit: register, comparator, byte and word, in this order. */
static void shift_in(controller *self, uint64_t bit)
{
    reader *r = &self->reader;
    r->history = r->history << 1 | bit;
    r->shifted++;
    if (r->bits_to_valid > 0) r->bits_to_valid--;

    r->equal_before = r->equal;
    r->equal = register_equals_sync_word(self);
    if (r->equal) flag_match(self);
    bool matched = match_is_made(self, r->equal);

    if (++r->byte_counter == self->byte_bits) {
        r->byte_counter = 0;
        complete_byte(self);
    }

    bool at_wrap = self->source.gives_data && self->source.position == 0;
    if (!(at_wrap && fault(self, FAULT_SLIPS_AT_WRAP))) r->counter++;
    bool on_boundary = r->counter == self->word_bits;
    transfer *t = &self->transfer;
    if (t->finish_bits > 0 && --t->finish_bits == 0) complete_word(self, newest_word(self));
    if (matched)
        take_match(self, on_boundary);
    else if (on_boundary)
        complete_counted_word(self);

    if (fault(self, FAULT_WAITING_READ_STARTS_ITSELF) && t->phase == WAITS_FOR_MATCH &&
        self->source.gives_data &&
        r->shifted - t->accepted_at >= 2 * (uint64_t)self->source.turn_bits)
        start_raw(self);
}

/* --------------------------------------------------------------------------------------- time */

/* Points the read data at what the lines select. A platter's angle runs on at all times. */
static void aim_head(controller *self)
{
    const drive *d = self->selected;
    self->source = (read_data){.gives_data = false};
    if (d == NULL || !d->motor) return;
    uint64_t cell = self->cell_begin_ns / self->cell_ns;
    self->source = (read_data){
        .gives_data = true,
        .track = self->tracks[d - self->drives][d->cylinder][self->side],
        .turn_bits = d->turn_bits,
        .position = (uint32_t)((d->start_bit + cell) % d->turn_bits),
    };
}

/* What the begin of a cell starts: cell 0 of a spinning, selected drive is the index. */
static void begin_cell(controller *self)
{
    self->cell_begun = true;
    if (self->transfer.phase != WAITS_FOR_INDEX) return;
    if (!self->source.gives_data || self->source.position != 0) return;
    self->now_ns = self->cell_begin_ns;
    start_raw(self);
}

static uint64_t next_noise_bit(controller *self)
{
    self->noise ^= self->noise << 13;
    self->noise ^= self->noise >> 7;
    self->noise ^= self->noise << 17;
    return self->noise >> 63;
}

/* Shifts in the bit of the cell that ends now, if one comes. */
static void read_cell(controller *self)
{
    read_data *source = &self->source;
    if (source->gives_data) {
        uint32_t cell = source->position;
        if (++source->position == source->turn_bits) source->position = 0;
        const uint8_t *track = source->track;
        shift_in(self, track == NULL ? 0 : (uint64_t)(track[cell / 8] >> (7 - cell % 8) & 1));
        return;
    }
    switch (choice(self, TP_KEY_NO_DRIVE_READ)) {
    case NO_DRIVE_ZEROS:
        shift_in(self, 0);
        break;
    case NO_DRIVE_ONES:
        shift_in(self, 1);
        break;
    case NO_DRIVE_NOISE:
        shift_in(self, next_noise_bit(self));
        break;
    default: /* nothing comes: register and counter stand still */
        break;
    }
}

static void land_late_sync_bits(controller *self)
{
    reader *r = &self->reader;
    r->sync_word = (r->sync_word & ~r->late_mask) | (r->late_word & r->late_mask);
    r->late_cells = 0;
}

static void end_cell(controller *self)
{
    self->cell_begin_ns += self->cell_ns;
    self->cell_begun = false;
    self->now_ns = self->cell_begin_ns;
    read_cell(self);
    if (self->reader.late_cells > 0 && --self->reader.late_cells == 0) land_late_sync_bits(self);
}

/* Whether nothing that bits do now can be told later, but by the newest 64 of them. */
static bool unwatched(const controller *self)
{
    const reader *r = &self->reader;
    bool flag_remembers = choice(self, TP_KEY_FLAG) != FLAG_LEVEL && flag_enabled(self);
    return !busy(self) && !r->hardware_sync && r->late_cells == 0 && !flag_remembers &&
           choice(self, TP_KEY_LATCH_WORDS) == 0 && self->faults == 0;
}

/* Leaps over most of a long wait, such as a spin-up, that would take most of a case's time. A
 * multiple of 32 bits is whole words and whole bytes, so that the counters stand as before it. */
static void leap_cells(controller *self, uint64_t until_ns)
{
    const uint64_t kept = 64, unit = 32;
    uint64_t wait_ns = until_ns - self->cell_begin_ns;
    if (wait_ns < (kept + unit) * self->cell_ns || !unwatched(self)) return;
    uint64_t cells = (wait_ns / self->cell_ns - kept) / unit * unit;
    self->cell_begin_ns += cells * self->cell_ns;
    self->cell_begun = false;
    if (self->source.gives_data || choice(self, TP_KEY_NO_DRIVE_READ) != NO_DRIVE_NOTHING)
        self->reader.shifted += cells;
    aim_head(self);
}

/* Lets all cells pass that end at `until_ns` or before. */
static void pass_cells(controller *self, uint64_t until_ns)
{
    leap_cells(self, until_ns);
    while (self->cell_begin_ns < until_ns) {
        if (!self->cell_begun) begin_cell(self);
        if (until_ns - self->cell_begin_ns < self->cell_ns) break;
        end_cell(self);
    }
    self->now_ns = until_ns;
}

/* ------------------------------------------------------------------------------------- drives */

/* The bits come from elsewhere now: the register must fill anew before it can match. */
static void switch_source(controller *self)
{
    aim_head(self);
    if (choice(self, TP_KEY_STRADDLE) || fault(self, FAULT_REGISTER_SURVIVES_SWITCH)) return;
    self->reader.bits_to_valid = (uint32_t)choice(self, TP_KEY_REGISTER_BITS);
}

static void set_select(controller *self, uint32_t mask)
{
    if (mask == self->select_mask) return;
    self->select_mask = mask;
    drive *before = self->selected;
    self->selected = NULL;
    for (uint32_t n = self->drive_count; n-- > 0;)
        if (mask >> n & 1) self->selected = &self->drives[n];
    if (before != NULL && before != self->selected && !before->change_clears_by_step)
        before->changed = false;
    switch_source(self);
}

/* Data stops or comes back, but from the same place: no switch of the source. */
static void set_motor(controller *self, uint32_t mask)
{
    bool line_changed = false;
    for (uint32_t n = 0; n < self->drive_count; n++) {
        drive *d = &self->drives[n];
        bool on = mask >> n & 1;
        line_changed |= on != d->motor;
        if (on && !d->motor) d->spinning_since_ns = self->now_ns;
        d->motor = on;
    }
    if (fault(self, FAULT_OTHER_MOTOR_RESTARTS_READY) && line_changed)
        for (uint32_t n = 0; n < self->drive_count; n++)
            self->drives[n].spinning_since_ns = self->now_ns;
    aim_head(self);
}

static void set_side(controller *self, uint32_t side)
{
    if (side == self->side) return;
    self->side = side;
    if (self->selected != NULL) switch_source(self);
}

static void step(controller *self, bool towards_zero)
{
    drive *d = self->selected;
    if (d == NULL) return;
    if (towards_zero && d->cylinder > 0) d->cylinder--;
    if (!towards_zero && d->cylinder < CYLINDERS - 1) d->cylinder++;
    if (d->change_clears_by_step) d->changed = false;
    switch_source(self);
}

/* Whose lines the status shows. */
static const drive *shown_drive(const controller *self)
{
    const drive *d = self->selected;
    if (fault(self, FAULT_STATUS_OF_OTHER_DRIVE) && d != NULL && d->motor)
        for (uint32_t n = 0; n < self->drive_count; n++)
            if (&self->drives[n] != d && self->drives[n].motor) return &self->drives[n];
    return d;
}

/* The index line is active for the first hundredth of a turn. */
static bool index_active(const controller *self, const drive *d)
{
    uint64_t cell = (d->start_bit + self->now_ns / self->cell_ns) % d->turn_bits;
    uint64_t since_index_ns = cell * self->cell_ns + self->now_ns % self->cell_ns;
    return d->motor && since_index_ns * 100 < d->turn_bits * self->cell_ns;
}

static uint32_t drive_lines(const controller *self)
{
    const drive *d = shown_drive(self);
    if (d == NULL) return 0;
    uint32_t lines = 0;
    if (index_active(self, d)) lines |= TP_STATUS_INDEX;
    if (d->cylinder == 0) lines |= TP_STATUS_TRACK_ZERO;
    if (d->write_protected) lines |= TP_STATUS_PROTECT;
    if (d->motor && self->now_ns - d->spinning_since_ns >= d->spin_up_ns) lines |= TP_STATUS_READY;
    if (d->changed) lines |= TP_STATUS_CHANGE;
    return lines;
}

/* ----------------------------------------------------------------------------------- commands */

static bool match_flag(const controller *self)
{
    const reader *r = &self->reader;
    switch (choice(self, TP_KEY_FLAG)) {
    case FLAG_LEVEL:
        if (fault(self, FAULT_FLAG_LAGS) && r->equal_before && flag_enabled(self)) return true;
        return flag_enabled(self) && register_equals_sync_word(self);
    case FLAG_EVENT:
        return false;
    default:
        return r->flag_latched;
    }
}

static void poll_status(controller *self)
{
    uint32_t status = drive_lines(self);
    if (self->done_shown) status |= TP_STATUS_DONE;
    if (busy(self)) status |= TP_STATUS_BUSY;
    if (self->error_shown) status |= TP_STATUS_ERROR;
    if (match_flag(self)) status |= TP_STATUS_MATCH;
    if (self->track_zero_inverted) status ^= TP_STATUS_TRACK_ZERO; /* only set by a fault */
    report(self, TP_ITEM_STATUS, 0, status, false);
    if (choice(self, TP_KEY_FLAG) == FLAG_CLEAR_ON_READ) self->reader.flag_latched = false;
    if (fault(self, FAULT_POLL_STEALS_SERVICE)) self->service_stolen = true;
}

/* Byte and flag in one operation; reading clears the flag. */
static void poll_byte(controller *self)
{
    byte_port *port = &self->port;
    bool flag = port->unread;
    uint64_t age_ns = self->now_ns - port->completed_ns;
    if (fault(self, FAULT_BYTE_TORN) && age_ns < 4 * self->cell_ns) flag = port->unread_before;
    if (fault(self, FAULT_EDGE_BYTE_UNFLAGGED) && age_ns == 0) flag = false;
    bool exists = choice(self, TP_KEY_BYTE_PORT);
    report(self, TP_ITEM_BYTE, 0, exists ? port->value : 0, exists && flag);
    if (!fault(self, FAULT_BYTE_FLAG_STAYS)) port->unread = port->unread_before = false;
    port->polled = true;
    port->polled_ns = self->now_ns;
}

static void set_sync_word(controller *self, uint64_t word)
{
    reader *r = &self->reader;
    land_late_sync_bits(self); /* of a word set just before */
    r->late_word = word & self->register_mask;
    if (fault(self, FAULT_SYNC_WORD_LATE)) {
        r->late_mask = self->register_mask;
        r->late_cells = (uint32_t)self->word_bits;
    } else if (choice(self, TP_KEY_SYNC_WRITE) == SYNC_WRITE_HALVES) {
        uint64_t lower_half = low_bits((uint32_t)choice(self, TP_KEY_REGISTER_BITS) / 2);
        r->sync_word = (r->sync_word & lower_half) | (r->late_word & ~lower_half);
        r->late_mask = lower_half;
        r->late_cells = 1;
    } else {
        r->late_mask = self->register_mask;
        land_late_sync_bits(self);
    }
}

static void set_hardware_sync(controller *self, bool on)
{
    transfer *t = &self->transfer;
    bool was_on = self->reader.hardware_sync;
    self->reader.hardware_sync = on;
    if (!was_on && on && t->phase == RUNS)
        t->deaf |= choice(self, TP_KEY_SYNC_ON_LIVE) == SYNC_ON_LIVE_NEXT_TRANSFER;
    if (was_on && !on && t->phase == WAITS_FOR_MATCH &&
        choice(self, TP_KEY_SYNC_OFF_WAITING) == SYNC_OFF_WAITING_START)
        start_raw(self);
}

/* Lets the transfer that was just accepted begin with the newest words of before, if the profile
 * has that latch and so many have completed. They count among its words. */
static void take_old_words(controller *self)
{
    int64_t most = choice(self, TP_KEY_LATCH_WORDS);
    if (fault(self, FAULT_STALE_FIRST_WORD) && self->transfer_ran && most == 0) most = 1;
    if (most > choice(self, TP_KEY_FIFO_WORDS)) most = choice(self, TP_KEY_FIFO_WORDS);
    uint32_t count = (uint32_t)most;
    if (count > self->transfer.words) count = (uint32_t)self->transfer.words;
    if (count > self->newest.count) return;
    for (uint32_t n = self->newest.count - count; n < self->newest.count; n++)
        queue_push(&self->fifo, *queue_at(&self->newest, n));
}

static bool match_just_passed(const controller *self)
{
    const reader *r = &self->reader;
    return r->hardware_sync && r->match_seen &&
           r->shifted - r->match_at < (uint64_t)self->word_bits;
}

/* A request takes effect. Whether the controller is busy is decided here and not when it came. */
static void accept(controller *self, const request *asked)
{
    if (fault(self, FAULT_REARM_LOST) && self->done_shown &&
        self->now_ns - self->done_ns < (uint64_t)self->word_bits * self->cell_ns)
        return;
    if (busy(self)) {
        int64_t start_busy = choice(self, TP_KEY_START_BUSY);
        if (fault(self, FAULT_BUSY_REQUEST_REPLACES)) start_busy = START_BUSY_REPLACE;
        if (start_busy == START_BUSY_ERROR) report(self, TP_ITEM_REFUSED, asked->number, 0, false);
        if (start_busy != START_BUSY_REPLACE) return;
        kill_transfer(self);
    }
    self->done_shown = false;
    if (choice(self, TP_KEY_ERROR_FLAG) == ERROR_FLAG_PER_TRANSFER) self->error_shown = false;
    if (choice(self, TP_KEY_FLAG) == FLAG_CLEAR_ON_START) self->reader.flag_latched = false;

    uint64_t words = asked->words;
    if (words == 0 && choice(self, TP_KEY_ZERO_WORDS) == ZERO_WORDS_MAXIMUM)
        words = (uint64_t)choice(self, TP_KEY_MAX_WORDS);
    if (words == 0) {
        signal_done(self);
        return;
    }
    if (fault(self, FAULT_ONE_WORD_SHORT) && words > 1) words--;
    self->transfer =
        (transfer){.number = asked->number, .words = words, .accepted_at = self->reader.shifted};
    take_old_words(self);

    if (asked->start == TP_START_INDEX)
        self->transfer.phase = WAITS_FOR_INDEX;
    else if (asked->start == TP_START_NOW)
        start_raw_at_once(self);
    else if (fault(self, FAULT_PAST_MATCH_STARTS) && match_just_passed(self))
        start_running(self);
    else
        self->transfer.phase = WAITS_FOR_MATCH;
    self->joinable = false; /* until this transfer's own last word */
}

/* Reset reaches the controller, not the drives: lines, heads and change latches stay. So do the
 * register's bits, unless the profile clears them, and its validity. */
static void reset(controller *self)
{
    reader *r = &self->reader;
    uint32_t waiting = self->fifo.count;
    self->request_count = 0;
    kill_transfer(self);
    if (fault(self, FAULT_RESET_KEEPS_FIFO)) self->fifo.count = waiting;
    zero_counter(self);
    if (choice(self, TP_KEY_RESET_CLEARS_REGISTER)) r->history = 0;
    r->quiet_bits = 0;
    r->late_cells = 0;
    r->late_mask = 0;
    r->flag_latched = false;
    r->match_seen = false;
    if (!fault(self, FAULT_RESET_KEEPS_SYNC_WORD)) r->sync_word = 0x4489 & self->register_mask;
    if (!fault(self, FAULT_RESET_KEEPS_ENABLE)) r->hardware_sync = false;
    self->port = (byte_port){.value = 0};
    self->error_shown = false;
}

/* ------------------------------------------------------------------------------------- events */

static int32_t fail(controller *self, const char *what, const char *where, int64_t value)
{
    snprintf(self->error, sizeof self->error, "%s: %s, got %lld", where, what, (long long)value);
    return TP_FAIL;
}

static void request_read(controller *self, const tp_event *event)
{
    if (self->request_count == self->request_room) {
        void *list = self->requests;
        if (!make_room(&list, &self->request_room, self->request_count + 1,
                       sizeof *self->requests)) {
            self->failed = true;
            return;
        }
        self->requests = list;
    }
    uint64_t slack_ns = (uint64_t)choice(self, TP_KEY_SLACK_MIN) * self->cell_ns;
    self->requests[self->request_count++] = (request){.due_ns = event->at_ns + slack_ns,
                                                      .words = event->b,
                                                      .number = event->transfer,
                                                      .start = event->a};
}

static void accept_next_request(controller *self)
{
    request next = self->requests[0];
    self->request_count--;
    memmove(self->requests, self->requests + 1, self->request_count * sizeof *self->requests);
    pass_cells(self, next.due_ns);
    accept(self, &next);
}

/* Brings time to `until_ns`, with the requests accepted before it, or `at_it` too. */
static void advance(controller *self, uint64_t until_ns, bool at_it)
{
    while (self->request_count > 0 && (self->requests[0].due_ns < until_ns ||
                                       (at_it && self->requests[0].due_ns == until_ns)))
        accept_next_request(self);
    pass_cells(self, until_ns);
}

/* Services of the transfer under way come before whatever is accepted at their moment. */
static bool is_service_under_way(const controller *self, const tp_event *event)
{
    return event->kind == TP_SERVICE && busy(self) && event->transfer == self->transfer.number;
}

static void track_output(controller *self, const tp_event *event)
{
    if (!fault(self, FAULT_OUTPUT_DISTURBS_STATUS)) return;
    switch (event->kind) {
    case TP_OUTPUT:
        self->track_zero_inverted |= (event->a & 1) != 0;
        break;
    case TP_POLL_STATUS:
    case TP_POLL_BYTE:
    case TP_SERVICE:
    case TP_END:
        break;
    default:
        self->track_zero_inverted = false;
    }
}

static int32_t handle(controller *self, const tp_event *event)
{
    switch (event->kind) {
    case TP_SELECT:
        set_select(self, event->a);
        break;
    case TP_MOTOR:
        set_motor(self, event->a);
        break;
    case TP_SIDE:
        if (event->a >= SIDES) return fail(self, "side must be 0 or 1", "run", event->a);
        set_side(self, event->a);
        break;
    case TP_STEP:
        step(self, event->a != 0);
        break;
    case TP_SYNC_WORD:
        set_sync_word(self, event->b);
        break;
    case TP_HARDWARE_SYNC:
        set_hardware_sync(self, event->a != 0);
        break;
    case TP_READ:
        if (event->a > TP_START_INDEX) return fail(self, "start must be 0 to 2", "run", event->a);
        request_read(self, event);
        advance(self, event->at_ns, true);
        break;
    case TP_SERVICE:
        serve(self, event->transfer);
        break;
    case TP_ABORT:
        self->request_count = 0;
        kill_transfer(self);
        break;
    case TP_POLL_STATUS:
        poll_status(self);
        break;
    case TP_POLL_BYTE:
        poll_byte(self);
        break;
    case TP_OUTPUT: /* has nothing to do with transfers */
    case TP_END:
        break;
    case TP_RESET:
        reset(self);
        break;
    default:
        return fail(self, "unknown event kind; rebuild with a newer header", "run", event->kind);
    }
    return TP_OK;
}

static int32_t live_through(controller *self, const tp_event *event)
{
    if (event->at_ns < self->now_ns)
        return fail(self, "events must come in the order of time", "run", (int64_t)event->at_ns);
    advance(self, event->at_ns, !is_service_under_way(self, event));
    track_output(self, event);
    if (handle(self, event) != TP_OK) return TP_FAIL;
    if (self->failed)
        return fail(self, "out of memory; items kept", "run", (int64_t)self->items.count);
    return TP_OK;
}

/* ----------------------------------------------------------------------------------- power-up */

static int32_t take_profile(controller *self, const tp_profile *profile)
{
    const char *where = "power_up: profile";
    if (profile == NULL || profile->values == NULL) return fail(self, "is missing", where, 0);
    if (profile->count < TP_KEY_COUNT)
        return fail(self, "has fewer keys than this library needs", where, profile->count);
    memcpy(self->keys, profile->values, sizeof self->keys);
    for (size_t n = 0; n < sizeof key_ranges / sizeof *key_ranges; n++) {
        int64_t value = self->keys[key_ranges[n].key];
        if (value >= key_ranges[n].least && value <= key_ranges[n].most) continue;
        snprintf(self->error, sizeof self->error,
                 "power_up: profile key %s is %lld, but %lld to %lld can be served",
                 key_ranges[n].name, (long long)value, (long long)key_ranges[n].least,
                 (long long)key_ranges[n].most);
        return TP_FAIL;
    }
    int64_t word_bits = choice(self, TP_KEY_WORD_BITS);
    if (word_bits != 8 && word_bits != 16 && word_bits != 32)
        return fail(self, "must be 8, 16 or 32", "power_up: profile key word_bits", word_bits);

    self->cell_ns = (uint64_t)choice(self, TP_KEY_CHANNEL_BIT_NS);
    self->word_bits = (int32_t)word_bits;
    self->word_mask = low_bits((uint32_t)word_bits);
    self->register_mask = low_bits((uint32_t)choice(self, TP_KEY_REGISTER_BITS));
    self->compare_mask = (uint64_t)choice(self, TP_KEY_SYNC_MASK) & self->register_mask;
    self->byte_bits = choice(self, TP_KEY_BYTE) == BYTE_CHANNEL_8 ? 8 : 16;
    return TP_OK;
}

static int32_t take_drives(controller *self, const tp_setup *setup)
{
    const char *where = "power_up: drive";
    if (setup->drive_count > MAX_DRIVES)
        return fail(self, "at most 4 can be served", where, setup->drive_count);
    if (setup->drive_count > 0 && setup->drives == NULL) return fail(self, "is missing", where, 0);
    self->drive_count = setup->drive_count;
    for (uint32_t n = 0; n < setup->drive_count; n++) {
        const tp_drive *d = &setup->drives[n];
        if (d->turn_bits == 0 || d->turn_bits > MAX_TURN_BITS)
            return fail(self, "turn_bits must be 1 to 2^24", where, d->turn_bits);
        if (d->cylinder >= CYLINDERS)
            return fail(self, "cylinder must be 0 to 83", where, d->cylinder);
        if (d->change_clear > 1)
            return fail(self, "change_clear must be 0 or 1", where, d->change_clear);
        self->drives[n] = (drive){.turn_bits = d->turn_bits,
                                  .start_bit = d->start_bit,
                                  .cylinder = d->cylinder,
                                  .write_protected = d->write_protected != 0,
                                  .change_clears_by_step = d->change_clear == 0,
                                  .changed = true,
                                  .spin_up_ns = d->spin_up_ns};
    }
    return TP_OK;
}

static int32_t check_track(controller *self, const tp_track *track)
{
    const char *where = "power_up: track";
    if (track->drive >= self->drive_count) return fail(self, "no such drive", where, track->drive);
    if (track->cylinder >= CYLINDERS)
        return fail(self, "cylinder must be 0 to 83", where, track->cylinder);
    if (track->side >= SIDES) return fail(self, "side must be 0 or 1", where, track->side);
    if (track->bytes == NULL) return fail(self, "has no bytes", where, 0);
    if (track->bit_count != self->drives[track->drive].turn_bits)
        return fail(self, "bit_count must be its drive's turn_bits", where, track->bit_count);
    return TP_OK;
}

/* Copies the tracks into one buffer, which is made large enough before any pointer goes into it. */
static int32_t take_tracks(controller *self, const tp_setup *setup)
{
    if (setup->track_count > 0 && setup->tracks == NULL)
        return fail(self, "are missing", "power_up: tracks", setup->track_count);
    size_t total = 0;
    for (uint32_t n = 0; n < setup->track_count; n++) {
        if (check_track(self, &setup->tracks[n]) != TP_OK) return TP_FAIL;
        total += (setup->tracks[n].bit_count + 7) / 8;
    }
    void *recorded = self->recorded;
    if (!make_room(&recorded, &self->recorded_room, total, 1))
        return fail(self, "out of memory; bytes needed", "power_up: tracks", (int64_t)total);
    self->recorded = recorded;

    memset(self->tracks, 0, sizeof self->tracks);
    uint8_t *place = self->recorded;
    for (uint32_t n = 0; n < setup->track_count; n++) {
        const tp_track *track = &setup->tracks[n];
        size_t size = (track->bit_count + 7) / 8;
        memcpy(place, track->bytes, size);
        self->tracks[track->drive][track->cylinder][track->side] = place;
        place += size;
    }
    return TP_OK;
}

/* Everything as new, but for options and buffers. */
static void forget_case(controller *self)
{
    self->items.count = self->items.given = 0;
    self->failed = false;
    self->error[0] = '\0';
    self->now_ns = self->cell_begin_ns = 0;
    self->cell_begun = false;
    self->drive_count = 0;
    self->select_mask = 0;
    self->selected = NULL;
    self->side = 0;
    self->noise = UINT64_C(0x9e3779b97f4a7c15); /* any but 0 */
    self->reader = (reader){.history = 0};
    self->fifo.first = self->newest.first = 0;
    self->transfer_ran = false;
    self->ghost = false;
    self->done_ns = 0;
    self->track_zero_inverted = false;
    self->service_stolen = false;
}

/* -------------------------------------------------------------------------- table of functions */

static const char cannot_create[] =
    "create: out of memory, or an unknown fault among the options (a comma-separated list); "
    "known are:" FAULTS(FAULT_LISTED);

_Static_assert(sizeof cannot_create <= 1001, "last_error() gives at most 1 000 bytes");

/* Switches on the fault of this name. False when there is none. */
static bool add_fault(controller *self, const char *name, size_t length)
{
    for (int n = 0; n < FAULT_COUNT; n++) {
        if (strlen(fault_names[n]) != length || memcmp(fault_names[n], name, length) != 0) continue;
        self->faults |= UINT64_C(1) << n;
        return true;
    }
    return false;
}

static bool take_options(controller *self, const char *options)
{
    if (options == NULL || *options == '\0') return true;
    for (const char *name = options;; name++) {
        size_t length = strcspn(name, ",");
        if (!add_fault(self, name, length)) return false;
        name += length;
        if (*name == '\0') return true;
    }
}

static void destroy(void *opaque)
{
    controller *self = opaque;
    if (self == NULL) return;
    free(self->items.list);
    free(self->requests);
    free(self->recorded);
    free(self);
}

static void *create(const char *options)
{
    controller *self = calloc(1, sizeof *self);
    if (self == NULL || take_options(self, options)) return self;
    destroy(self);
    return NULL;
}

static uint64_t capabilities(void *opaque)
{
    (void)opaque;
    return low_bits(TP_CAN_WRITE);
}

static int32_t power_up(void *opaque, const tp_setup *setup)
{
    controller *self = opaque;
    self->powered = false;
    forget_case(self);
    if (setup == NULL) return fail(self, "is missing", "power_up: setup", 0);
    if (setup->struct_size < sizeof *setup)
        return fail(self, "is of an older header", "power_up: setup's struct_size",
                    setup->struct_size);
    if (take_profile(self, setup->profile) != TP_OK) return TP_FAIL;
    if (take_drives(self, setup) != TP_OK || take_tracks(self, setup) != TP_OK) return TP_FAIL;
    uint64_t faults = self->faults;
    self->faults = 0; /* whatever a reset leaves undone, power-up does */
    reset(self);
    self->faults = faults;
    aim_head(self);
    self->powered = true;
    return TP_OK;
}

static int32_t run(void *opaque, const tp_event *events, uint64_t count)
{
    controller *self = opaque;
    if (!self->powered) return fail(self, "power_up() must succeed first", "run", 0);
    if (count > 0 && events == NULL) return fail(self, "events are missing", "run", 0);
    for (uint64_t n = 0; n < count; n++)
        if (live_through(self, &events[n]) != TP_OK) return TP_FAIL;
    return TP_OK;
}

static int32_t drain(void *opaque, tp_item *items, uint64_t capacity, uint64_t *count)
{
    controller *self = opaque;
    item_buffer *kept = &self->items;
    size_t left = kept->count - kept->given;
    size_t moved = capacity < left ? (size_t)capacity : left;
    if (moved > 0) memcpy(items, kept->list + kept->given, moved * sizeof *items);
    kept->given += moved;
    *count = moved;
    if (moved < left) return TP_MORE;
    kept->count = kept->given = 0;
    return TP_OK;
}

static const char *last_error(void *opaque)
{
    const controller *self = opaque;
    if (self == NULL) return cannot_create;
    return self->error[0] != '\0' ? self->error : NULL;
}

static const tp_adapter adapter = {
    .struct_size = sizeof(tp_adapter),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "sample controller sync-dma",
    .create = create,
    .destroy = destroy,
    .capabilities = capabilities,
    .power_up = power_up,
    .run = run,
    .drain = drain,
    .last_error = last_error,
};

EXPORTED const tp_adapter *tp_adapter_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &adapter : NULL;
}
