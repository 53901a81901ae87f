/*
 * The writer: the gate, and the serialiser behind it. Gate and cells begin and end together.
 */
#include "controller.h"

static void open_gate(controller *c) {
    writer *w = &c->writer;
    w->gate = true;
    w->closing = false;
    w->ended = false;
    w->opens_at = NEVER;
    w->lead = (unsigned)c->choice[TP_KEY_GATE_LEAD];
    w->bits_left = 0;
    w->begun = 0;
    w->to_last_bit = 0;
    w->late = false;
    c->transfer.stage = STAGE_RUNNING;
    encoder_begin_write(c);
    reader_source_changed(c);
}

static void close_gate(controller *c) {
    writer *w = &c->writer;
    w->gate = false;
    w->closing = false;
    reader_source_changed(c);
    for (track *t = c->tracks; t < c->tracks + c->track_count; t++) {
        if (t->written && t->sectors)
            image_decode(t);
        t->written = false;
    }
}

/* The gate closes and the write ends, whole or not. */
static void end_write(controller *c) {
    close_gate(c);
    c->writer.joins = true;
    transfer_end(c);
}

/* A match has been made that the waiting write may start behind. */
void writer_match(controller *c) {
    writer *w = &c->writer;
    if (w->opens_at != NEVER)
        return;
    uint64_t behind = (uint64_t)(c->choice[TP_KEY_MATCH_TO_WRITE] - c->choice[TP_KEY_GATE_LEAD]);
    if (fault(c, MATCH_WRITE_EARLY))
        behind = 0;
    w->opens_at = c->cell + 1 + behind;
}

/* Whether the edge of the index that starts a write comes at the begin of this cell. */
static bool at_index(const controller *c) {
    if (!drives_spin(c))
        return false;
    uint32_t turn_bits = c->drives[c->selected].is.turn_bits;
    uint32_t edge = is(c, TP_KEY_INDEX_EDGE, 1) ? (turn_bits + 99) / 100 % turn_bits : 0;
    return drives_position(c) == edge;
}

/* Opens the gate if the waiting write is to start with this cell. */
static void start_write(controller *c) {
    writer *w = &c->writer;
    transfer *t = &c->transfer;
    if (t->start == TP_START_NOW) {
        if (c->fifo.count > 0)
            open_gate(c);
        return;
    }
    if (t->start == TP_START_INDEX && w->opens_at == NEVER && at_index(c))
        w->opens_at = c->cell;
    if (w->opens_at != c->cell)
        return;
    if (c->fifo.count > 0)
        open_gate(c);
    else
        w->opens_at = NEVER; /* missed: the next one counts */
}

static void load(controller *c, uint64_t word) {
    writer *w = &c->writer;
    w->last_word = word;
    w->bits = encoder_word(c, word);
    w->bits_left = c->word_bits;
}

/* A word begins with this cell, unless none waits. Says whether the gate stays open. */
static bool next_word(controller *c) {
    writer *w = &c->writer;
    if (c->fifo.count > 0) {
        w->begun++;
        load(c, fifo_get(c));
        if (w->begun == c->transfer.words)
            w->to_last_bit = c->word_bits - (unsigned)c->choice[TP_KEY_LOST_TAIL];
        return true;
    }
    transfer_lost(c);
    switch (c->choice[TP_KEY_UNDERRUN]) {
    case UNDERRUN_REPEAT: load(c, w->last_word); return true;
    case UNDERRUN_ZEROS: load(c, 0); return true;
    case UNDERRUN_HOLD: return true;
    default: break;
    }
    if (fault(c, CLOSES_BYTE_LATE) && !w->late) {
        w->late = true;
        load(c, w->last_word);
        return true;
    }
    end_write(c);
    return false;
}

/* The channel bit of the cell that begins; 0 where nothing is to be written. */
static bool next_bit(controller *c) {
    writer *w = &c->writer;
    if (w->lead > 0) {
        w->lead--;
        return false;
    }
    if (w->ended || w->bits_left == 0)
        return false;
    bool bit = w->bits >> --w->bits_left & 1;
    if (w->bits_left % 2 == 0)
        w->context = bit;
    return bit;
}

void writer_begin_cell(controller *c) {
    writer *w = &c->writer;
    if (!w->gate && c->transfer.writes && c->transfer.stage == STAGE_WAITING)
        start_write(c);
    if (!w->gate)
        return;
    if (w->lead == 0 && w->bits_left == 0 && !w->ended && !next_word(c))
        return;
    w->bit = next_bit(c);
}

/* The cell that has gone by is on the medium now, if the drive writes. */
static void lay_cell(controller *c) {
    track *t = c->under_head;
    if (t && drives_spin(c) && !drives_protected(c)) {
        set_bit(t->bits, drives_position(c), c->writer.bit);
        t->written = true;
    }
}

static void gate_off(controller *c) {
    if (is(c, TP_KEY_WRITE_DONE, WRITE_DONE_GATE_OFF))
        transfer_done(c);
    end_write(c);
}

void writer_end_cell(controller *c) {
    writer *w = &c->writer;
    if (!w->gate)
        return;
    lay_cell(c);
    if (w->closing) {
        close_gate(c);
        return;
    }
    if (w->ended) {
        if (--w->to_gate_off == 0)
            gate_off(c);
        return;
    }
    if (w->to_last_bit == 0 || --w->to_last_bit > 0)
        return;
    if (is(c, TP_KEY_WRITE_DONE, WRITE_DONE_LAST_BIT))
        transfer_done(c);
    w->ended = true;
    w->to_gate_off = (unsigned)c->choice[TP_KEY_GATE_OFF_MIN];
    if (w->to_gate_off == 0)
        gate_off(c);
}

/* Select, side or motor change: what is written on must not change under an open gate. */
void writer_lines_changed(controller *c) {
    if (!c->writer.gate)
        return;
    if (c->transfer.writes && c->transfer.stage == STAGE_RUNNING)
        end_write(c);
    else
        close_gate(c);
}

/* The gate closes with the cell that is under way; between two cells at once. */
void writer_abort(controller *c) {
    writer *w = &c->writer;
    w->opens_at = NEVER;
    if (c->transfer.writes && c->transfer.stage != STAGE_IDLE)
        w->joins = false;
    if (!w->gate)
        return;
    if (c->in_cell)
        w->closing = true;
    else
        close_gate(c);
}
