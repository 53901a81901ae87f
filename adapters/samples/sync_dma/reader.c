/*
 * reader.c: shift register, comparator, word counter and byte port, and what a match does. Bit by
 * bit: everything follows from shift_in().
 */
#include "controller.h"

static uint32_t newest_word(const controller *self)
{
    return (uint32_t)(self->reader.history & self->word_mask);
}

/* Bytes are counted apart from words, since 16 channel bits need not be whole words, but zeroed
 * with them. */
void zero_counter(controller *self)
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

void start_running(controller *self)
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

void start_raw(controller *self)
{
    if (choice(self, TP_KEY_COUNTER) == COUNTER_ZEROED_AT_START) zero_counter(self);
    start_running(self);
}

void start_raw_at_once(controller *self)
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
    case WRITES:
        if (on_boundary)
            complete_word(self, newest_word(self));
        else
            self->joinable = false;
        zero_counter(self);
        if (t->phase == WRITES) write_sees_match(self);
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

bool register_equals_sync_word(const controller *self)
{
    const reader *r = &self->reader;
    return ((r->history ^ r->sync_word) & self->compare_mask) == 0 && r->bits_to_valid == 0 &&
           !self->gate.open && !overlooks(self);
}

/* The bits come from elsewhere now: the register must fill anew before it can match. */
void invalidate_register(controller *self)
{
    if (choice(self, TP_KEY_STRADDLE) || fault(self, FAULT_REGISTER_SURVIVES_SWITCH)) return;
    self->reader.bits_to_valid = (uint32_t)choice(self, TP_KEY_REGISTER_BITS);
}

bool flag_enabled(const controller *self)
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
void shift_in(controller *self, uint64_t bit)
{
    reader *r = &self->reader;
    r->history = r->history << 1 | bit;
    r->shifted++;
    if (r->bits_to_valid > 0) r->bits_to_valid--;

    r->equal_before = r->equal;
    r->equal = register_equals_sync_word(self);
    if (r->equal) flag_match(self);
    if (fault(self, FAULT_RAW_MENDS_MARKS) && !r->hardware_sync && (r->history & 0xffff) == 0x4489)
        r->history |= 0x20;
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
