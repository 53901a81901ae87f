/*
 * Transfers: a request is accepted at once, waits for its start, moves its words and ends. Words on
 * their way stand in a FIFO of D words in either direction.
 */
#include "controller.h"

bool fifo_put(controller *c, uint64_t word) {
    fifo *f = &c->fifo;
    if (f->count == f->depth)
        return false;
    f->words[(f->first + f->count++) % f->depth] = word;
    return true;
}

uint64_t fifo_get(controller *c) {
    fifo *f = &c->fifo;
    uint64_t word = f->words[f->first];
    f->first = (f->first + 1) % f->depth;
    f->count--;
    return word;
}

/* The event of completion; the transfer may have to go on. */
void transfer_done(controller *c) {
    c->done = true;
    tell(c, TP_ITEM_DONE, c->transfer.number, 0, false);
}

void transfer_end(controller *c) {
    c->transfer.stage = STAGE_IDLE;
    c->fifo.count = 0;
}

void transfer_lost(controller *c) {
    if (!is(c, TP_KEY_ERROR_FLAG, ERROR_NONE))
        c->error = true;
}

/* A write begins to wait, for its words first of all. */
static void accept_write(controller *c) {
    c->writer.opens_at = NEVER;
    if (is(c, TP_KEY_CHECKS_PROTECT, 1) && drives_protected(c)) {
        if (fault(c, REFUSED_WRITE_DONE))
            transfer_done(c);
        transfer_end(c);
    }
}

static void accept(controller *c) {
    transfer *t = &c->transfer;
    c->done = false;
    if (is(c, TP_KEY_ERROR_FLAG, ERROR_PER_TRANSFER) && !fault(c, ERROR_BIT_STAYS))
        c->error = false;
    if (is(c, TP_KEY_FLAG, FLAG_CLEAR_ON_START))
        c->reader.flag = false;
    if (t->words == 0) {
        transfer_done(c);
        transfer_end(c);
    } else if (t->writes) {
        accept_write(c);
    } else if (t->start == TP_START_NOW) {
        transfer_start(c);
    }
}

/* What give() brought belongs to the write that is requested now. */
static uint64_t take_offered_words(writer *w) {
    uint64_t *words = w->words;
    w->words = w->offered;
    w->offered = words;
    uint64_t count = w->offered_count;
    w->offered_count = 0;
    return count;
}

void transfer_request(controller *c, const tp_event *event) {
    transfer *t = &c->transfer;
    if (t->stage != STAGE_IDLE) {
        if (is(c, TP_KEY_START_BUSY, BUSY_ERROR) && !fault(c, REFUSES_SILENTLY))
            tell(c, TP_ITEM_REFUSED, event->transfer, 0, false);
        if (!is(c, TP_KEY_START_BUSY, BUSY_REPLACE))
            return;
        transfer_abort(c);
    }
    *t = (transfer){
        .stage = STAGE_WAITING,
        .writes = event->kind == TP_WRITE,
        .number = event->transfer,
        .start = event->a,
        .words = event->b,
    };
    if (t->writes)
        t->words = take_offered_words(&c->writer);
    else if (t->words == 0 && is(c, TP_KEY_ZERO_WORDS, 1))
        t->words = (uint64_t)c->choice[TP_KEY_MAX_WORDS];
    accept(c);
}

/* A read starts raw, at this moment. */
void transfer_start(controller *c) {
    bool continues = is(c, TP_KEY_READ_JOIN, 1) && c->transfer.start == TP_START_NOW &&
                     c->read_ended &&
                     c->now_ns - c->read_ended_ns < c->word_bits * c->bit_ns;
    c->transfer.stage = STAGE_RUNNING;
    if (is(c, TP_KEY_COUNTER, 1) && !continues && !fault(c, READ_KEEPS_PHASE))
        reader_zero_counter(c);
}

/* A word of the running read has completed. */
void transfer_take_in(controller *c, uint64_t word) {
    transfer *t = &c->transfer;
    if (t->stopped || t->moved + c->fifo.count == t->words)
        return;
    if (c->fifo.count == c->fifo.depth) {
        transfer_lost(c);
        t->stopped = is(c, TP_KEY_OVERRUN, OVERRUN_STOP);
        if (!is(c, TP_KEY_OVERRUN, OVERRUN_LOSE_OLD) || fault(c, OVERRUN_LOSES_NEW))
            return;
        fifo_get(c);
    }
    fifo_put(c, word);
    if (t->moved + c->fifo.count == t->words) {
        c->read_ended = true;
        c->read_ended_ns = c->now_ns;
        if (is(c, TP_KEY_READ_DONE, READ_DONE_COMPLETED))
            transfer_done(c);
    }
}

static void give_word(controller *c) {
    transfer *t = &c->transfer;
    if (t->stage != STAGE_RUNNING || c->fifo.count == 0)
        return;
    tell(c, TP_ITEM_WORD, t->number, fifo_get(c), false);
    t->moved++;
    if (t->moved == t->words) {
        if (is(c, TP_KEY_READ_DONE, READ_DONE_STORED))
            transfer_done(c);
        transfer_end(c);
    } else if (t->stopped && c->fifo.count == 0) {
        transfer_end(c);
    }
}

static void fetch_word(controller *c) {
    transfer *t = &c->transfer;
    if (t->moved == t->words || !fifo_put(c, c->writer.words[t->moved]))
        return;
    t->moved++;
    if (t->moved == t->words && is(c, TP_KEY_WRITE_DONE, WRITE_DONE_FETCHED))
        transfer_done(c);
}

void transfer_service(controller *c, uint32_t number) {
    if (c->transfer.stage == STAGE_IDLE || c->transfer.number != number)
        return;
    if (c->transfer.writes)
        fetch_word(c);
    else
        give_word(c);
}

void transfer_sync(controller *c, bool on) {
    transfer *t = &c->transfer;
    bool was_on = c->reader.sync_on;
    c->reader.sync_on = on;
    if (t->stage == STAGE_IDLE || t->writes)
        return;
    if (on && !was_on && t->stage == STAGE_RUNNING && is(c, TP_KEY_SYNC_ON_LIVE, 1))
        t->sync_came_late = true;
    if (!on && was_on && t->stage == STAGE_WAITING && t->start == TP_START_MATCH &&
        is(c, TP_KEY_SYNC_OFF_WAITING, 0))
        transfer_start(c);
}

void transfer_abort(controller *c) {
    writer_abort(c);
    transfer_end(c);
    c->done = false;
    c->read_ended = false;
}

void transfer_reset(controller *c) {
    transfer_abort(c);
    c->error = false;
    c->writer.context = false;
    c->writer.joins = false;
    uint64_t history = is(c, TP_KEY_RESET_CLEARS_REGISTER, 1) ? 0 : c->reader.history;
    unsigned from_source = c->reader.from_source;
    reader_power_up(c);
    c->reader.history = history;
    c->reader.from_source = from_source;
}
