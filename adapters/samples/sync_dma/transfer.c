/*
 * transfer.c: from a request to the transfer's end: acceptance, the FIFO, services, done.
 */
#include "controller.h"

bool busy(const controller *self)
{
    return self->transfer.phase != IDLE;
}

/* The words that the FIFO holds. */
uint32_t fifo_depth(const controller *self)
{
    uint32_t words = (uint32_t)choice(self, TP_KEY_FIFO_WORDS);
    return fault(self, FAULT_FIFO_WORD_SHORT) && words > 1 ? words - 1 : words;
}

uint64_t words_taken_in(const controller *self)
{
    return self->transfer.stored + self->fifo.count;
}

void signal_done(controller *self)
{
    report(self, TP_ITEM_DONE, 0, 0, false);
    if (fault(self, FAULT_DONE_TWICE)) report(self, TP_ITEM_DONE, 0, 0, false);
    self->done_shown = true;
    self->done_ns = self->now_ns;
}

/* Signals completion, once, when `words` words of the transfer have come as far as counts. */
void check_done(controller *self, int64_t event, uint64_t words)
{
    transfer *t = &self->transfer;
    uint64_t needed = t->words;
    if (fault(self, FAULT_DONE_EARLY) && needed > 1) needed--;
    if (t->done || choice(self, TP_KEY_READ_DONE) != event || words < needed) return;
    t->done = true;
    signal_done(self);
}

void end_transfer(controller *self)
{
    if (self->transfer.phase == WRITES) self->fifo.count = 0;
    self->transfer = (transfer){.phase = IDLE};
}

/* Ends the transfer without done. Only the register may still show something of before. */
void kill_transfer(controller *self)
{
    bool writes = self->transfer.phase == WRITES;
    if (fault(self, FAULT_WORD_AFTER_ABORT) && busy(self) && !writes && self->fifo.count > 0) {
        self->ghost = true;
        self->ghost_number = self->transfer.number;
        self->ghost_word = *queue_at(&self->fifo, 0);
    }
    if (writes) abort_write(self);
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
void take_in(controller *self, uint32_t word)
{
    transfer *t = &self->transfer;
    if (t->stopped || words_taken_in(self) >= t->words) return; /* not its own */
    if (self->fifo.count >= fifo_depth(self) && !overrun(self)) return;
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

/* The bus is the transfer's to move a word; void when it does not run, or no word or no room
 * waits for it. */
void serve(controller *self, uint32_t number)
{
    transfer *t = &self->transfer;
    if (self->ghost && number == self->ghost_number) { /* only set by a fault */
        report(self, TP_ITEM_WORD, number, self->ghost_word, false);
        self->ghost = false;
    }
    if (t->phase == WRITES && t->number == number) fetch_word(self);
    if (t->phase != RUNS || t->number != number || self->fifo.count == 0) return;
    if (self->service_stolen) { /* only set by a fault */
        self->service_stolen = false;
        return;
    }
    if (fault(self, FAULT_SWAPPED_WHEN_FULL) && self->fifo.count > 1 &&
        self->fifo.count == fifo_depth(self)) {
        uint32_t oldest = *queue_at(&self->fifo, 0);
        *queue_at(&self->fifo, 0) = *queue_at(&self->fifo, 1);
        *queue_at(&self->fifo, 1) = oldest;
    }
    report(self, TP_ITEM_WORD, number, queue_pop(&self->fifo), false);
    t->stored++;
    check_done(self, READ_DONE_LAST_STORED, t->stored);
    if (t->stored >= t->words || (t->stopped && self->fifo.count == 0)) end_transfer(self);
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

static void accept_read(controller *self, const request *asked)
{
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

/* A write of no words is always none; protect is looked at only for one that has some. */
static void accept_write(controller *self, const request *asked)
{
    if (asked->words == 0) {
        flash_gate(self);
        signal_done(self);
        return;
    }
    if (choice(self, TP_KEY_CHECKS_PROTECT) && self->selected != NULL &&
        is_protected(self, self->selected)) {
        flash_gate(self);
        return;
    }
    self->transfer =
        (transfer){.phase = WRITES, .number = asked->number, .words = asked->words};
    begin_write(self, asked);
    self->joinable = false;
}

/* A request takes effect. Whether the controller is busy is decided here and not when it came. */
void accept(controller *self, const request *asked)
{
    if (fault(self, FAULT_REARM_LOST) && self->done_shown &&
        self->now_ns - self->done_ns < (uint64_t)self->word_bits * self->cell_ns)
        return;
    if (fault(self, FAULT_DEAF_BEHIND_ABORT) && self->aborted &&
        self->now_ns - self->abort_ns < (uint64_t)8 * self->cell_ns)
        return;
    if (busy(self)) {
        int64_t start_busy = choice(self, TP_KEY_START_BUSY);
        if (fault(self, FAULT_BUSY_REQUEST_REPLACES)) start_busy = START_BUSY_REPLACE;
        if (start_busy == START_BUSY_ERROR) report(self, TP_ITEM_REFUSED, asked->number, 0, false);
        if (start_busy != START_BUSY_REPLACE) {
            if (asked->writes) flash_gate(self);
            return;
        }
        kill_transfer(self);
    }
    self->done_shown = false;
    if (choice(self, TP_KEY_ERROR_FLAG) == ERROR_FLAG_PER_TRANSFER) self->error_shown = false;
    if (choice(self, TP_KEY_FLAG) == FLAG_CLEAR_ON_START) self->reader.flag_latched = false;
    if (asked->writes)
        accept_write(self, asked);
    else
        accept_read(self, asked);
    self->side_before = self->side;
}
