/*
 * writer.c: the write gate and the serialiser. Cell by cell: at a cell's begin it is settled what
 * is written there, at its end it is laid on the track.
 *
 * A plan is what the transfer is to do; the gate may outlive it for the cell in which it was
 * aborted.
 */
#include "controller.h"

/* --------------------------------------------------------------------------------------- plan */

bool is_protected(const controller *self, const drive *d)
{
    return d->write_protected && !fault(self, FAULT_PROTECT_IGNORED);
}

void begin_write(controller *self, const request *asked)
{
    static const write_phase starts[] = {[TP_START_NOW] = AWAITS_WORD,
                                         [TP_START_MATCH] = AWAITS_MATCH,
                                         [TP_START_INDEX] = AWAITS_INDEX};
    write_phase start = starts[asked->start];
    self->plan = (write_plan){.phase = start, .start = start, .first = asked->first};
    self->plan_side = self->side_before;
    if (fault(self, FAULT_FIRST_WORD_LOST) && asked->words > 1) {
        self->plan.first++;
        self->transfer.words--;
    }
}

static void check_write_done(controller *self, int64_t event)
{
    transfer *t = &self->transfer;
    if (t->done || choice(self, TP_KEY_WRITE_DONE) != event) return;
    t->done = true;
    signal_done(self);
}

/* A service of the transfer that writes. Void while the FIFO is full, or when no word is left. */
void fetch_word(controller *self)
{
    write_plan *plan = &self->plan;
    if (plan->phase == IS_CUT || plan->fetched >= self->transfer.words ||
        self->fifo.count >= fifo_depth(self))
        return;
    queue_push(&self->fifo, self->given[plan->first + plan->fetched++]);
    if (plan->fetched == self->transfer.words) check_write_done(self, WRITE_DONE_LAST_FETCHED);
}

/* The write is to begin: the gate opens so many cells from now. */
static void fix_start(controller *self, int64_t cells)
{
    self->plan.phase = AWAITS_GATE;
    self->plan.cells_to_gate = cells > 0 ? (uint32_t)cells : 0;
}

void write_sees_match(controller *self)
{
    if (self->plan.phase != AWAITS_MATCH) return;
    int64_t cells = choice(self, TP_KEY_MATCH_TO_WRITE) - choice(self, TP_KEY_GATE_LEAD);
    if (cells < 0) cells = 0;
    if (fault(self, FAULT_LATE_AT_MATCH)) cells += choice(self, TP_KEY_MATCH_JITTER) + 1;
    fix_start(self, cells);
}

/* The edge of the index that counts, at the begin of this cell. */
static bool at_index_edge(const controller *self)
{
    uint32_t cell = 0, turn_bits = self->source.turn_bits;
    if (choice(self, TP_KEY_INDEX_EDGE) == INDEX_TRAILING && self->source.gives_data)
        cell = (turn_bits + 99) / 100 % turn_bits;
    return at_cell(self, cell);
}

static void see_index_edge(controller *self)
{
    if (self->plan.phase != AWAITS_INDEX || !at_index_edge(self)) return;
    int64_t cells = choice(self, TP_KEY_SLACK_MIN);
    if (fault(self, FAULT_LATE_AT_INDEX)) cells = choice(self, TP_KEY_SLACK_MAX) + 1;
    fix_start(self, cells);
}

/* Whether the write comes to its end: gate closed, and done if the last bit is what counts. */
static void end_write_if_over(controller *self)
{
    if (self->gate.open || self->plan.cells_to_last_bit > 0) return;
    self->plan = (write_plan){.phase = PLANS_NOTHING};
    self->whole_write_before = true;
    end_transfer(self);
}

/* The transfer ends early, without done. */
static void cut_write(controller *self)
{
    self->plan = (write_plan){.phase = PLANS_NOTHING};
    self->whole_write_before = false;
    end_transfer(self);
}

/* --------------------------------------------------------------------------------------- gate */

/* Keeps the track as it is now for the turn after the write. */
static void keep_old_turn(controller *self, const track *target)
{
    size_t size = (target->cell_count + 7) / 8;
    void *stale = self->stale;
    if (!make_room(&stale, &self->stale_room, size, 1)) {
        self->failed = true;
        return;
    }
    self->stale = stale;
    self->stale_of = NULL;
    memcpy(self->stale, target->cells, size);
}

static void set_cell(track *t, uint32_t cell, bool one)
{
    uint8_t bit = (uint8_t)(0x80u >> cell % 8);
    if (one)
        t->cells[cell / 8] |= bit;
    else
        t->cells[cell / 8] &= (uint8_t)~bit;
}

/* Clears the third word before the gate's opening. */
static void erase_before_start(const controller *self)
{
    const write_gate *g = &self->gate;
    uint64_t bits = (uint64_t)self->word_bits;
    for (uint64_t back = 2 * bits + 1; back <= 3 * bits; back++) {
        uint64_t cell = g->position + g->turn_bits - back % g->turn_bits;
        set_cell(g->target, (uint32_t)(cell % g->turn_bits), false);
    }
}

/* Clears the first 1 of the sync word that comes next behind the gate's closing, within 8 words. */
static void damage_next_sync(const controller *self)
{
    const write_gate *g = &self->gate;
    uint32_t bits = (uint32_t)choice(self, TP_KEY_REGISTER_BITS);
    for (uint32_t ahead = 0; ahead < 8 * bits; ahead++) {
        if (g->laid + ahead + bits > g->turn_bits) return; /* what was just written comes next */
        uint64_t seen = 0;
        for (uint32_t n = 0; n < bits; n++) {
            uint32_t cell = (uint32_t)(((uint64_t)g->position + ahead + n) % g->turn_bits);
            seen = seen << 1 | (g->target->cells[cell / 8] >> (7 - cell % 8) & 1);
        }
        if (((seen ^ self->reader.sync_word) & self->compare_mask) != 0) continue;
        for (uint32_t n = 0; n < bits; n++) {
            uint32_t cell = (uint32_t)(((uint64_t)g->position + ahead + n) % g->turn_bits);
            if ((seen >> (bits - 1 - n) & 1) == 0) continue;
            set_cell(g->target, cell, false);
            return;
        }
        return;
    }
}

/* Finds the track that keeps what is written: of a selected, spinning, unprotected drive. */
static void aim_gate(controller *self)
{
    const drive *d = self->selected;
    uint32_t side = self->side;
    if (fault(self, FAULT_WRITES_DRIVE_BEFORE) && self->selected_before != NULL)
        d = self->selected_before;
    if (fault(self, FAULT_WRITES_SIDE_BEFORE)) side = self->plan_side;
    if (d == NULL || !d->motor || is_protected(self, d)) return;
    track *target = track_at(self, d, side);
    if (target->cells == NULL) return;
    self->gate.target = target;
    self->gate.position = cell_at_head(self, d);
    self->gate.turn_bits = d->turn_bits;
    if (fault(self, FAULT_STALE_TURN)) keep_old_turn(self, target);
    if (fault(self, FAULT_ERASES_BEFORE_START)) erase_before_start(self);
}

static bool first_data_before(const controller *self)
{
    if (choice(self, TP_KEY_WRITE_JOIN) && self->whole_write_before) return self->last_data_bit;
    if (choice(self, TP_KEY_FIRST_CONTEXT) == FIRST_CONTEXT_LAST) return self->last_data_bit;
    return choice(self, TP_KEY_FIRST_CONTEXT) == FIRST_CONTEXT_1;
}

/* An edge of the gate is a change of the read data's source. */
static void open_gate(controller *self, gate_stage stage, uint32_t cells)
{
    self->gate = (write_gate){.open = true,
                              .stage = stage,
                              .cells_left = cells,
                              .data_before = first_data_before(self),
                              .zeros = UINT32_MAX};
    aim_gate(self);
    invalidate_register(self);
}

/* What an image-backed track has taken is made of its sectors again. */
static void close_gate(controller *self)
{
    write_gate *g = &self->gate;
    g->open = false;
    invalidate_register(self);
    if (g->target == NULL) return;
    if (fault(self, FAULT_DAMAGES_NEXT_SYNC)) damage_next_sync(self);
    if (fault(self, FAULT_STALE_TURN)) {
        self->stale_of = g->target->cells;
        self->stale_left = g->target->cell_count;
    }
    if (g->target->sectors != NULL) {
        decode_stream(g->target);
        make_stream(self, g->target);
    }
}

/* Closes the gate at the first boundary from now on. */
static void close_gate_soon(controller *self)
{
    if (!self->gate.open) return;
    if (self->now_ns == self->cell_begin_ns)
        close_gate(self);
    else
        self->gate.closing = true;
}

void abort_write(controller *self)
{
    self->plan = (write_plan){.phase = PLANS_NOTHING};
    self->whole_write_before = false;
    write_gate *g = &self->gate;
    bool is_in_word = g->open && g->stage == GATE_WORD && g->cells_left > 0;
    if (fault(self, FAULT_GATE_FINISHES_WORD) && is_in_word)
        g->finishes_word = true;
    else
        close_gate_soon(self);
}

/* Select, side or the selected drive's motor change: the drive keeps nothing more, and the write
 * under way is over at the next boundary. */
void lose_write(controller *self)
{
    if (!self->gate.open) return;
    self->gate.lost = true;
    bool is_plans = self->plan.phase == SERIALISES || self->plan.phase == CLOSES;
    if (is_plans) self->plan.phase = IS_CUT;
    close_gate_soon(self);
    if (is_plans && !self->gate.open) cut_write(self);
}

/* Only by a fault: the gate opens for a cell, for a write that is none. */
void flash_gate(controller *self)
{
    if (fault(self, FAULT_FLASHES_GATE) && !self->gate.open) open_gate(self, GATE_TAIL, 1);
}

/* --------------------------------------------------------------------------------- serialiser */

/* The channel bits of a word. Of data bytes the low half is data; a 1 in the high half leaves out
 * the clock bit before the data bit at the same place. */
static uint64_t encode(const controller *self, uint32_t word)
{
    if (choice(self, TP_KEY_WRITE_UNIT) == WRITE_CHANNEL_WORDS) return word;
    bool before = self->gate.data_before;
    bool is_fm = choice(self, TP_KEY_RECORDING) == RECORDING_FM;
    uint64_t cells = 0;
    for (int32_t half = self->word_bits / 2, n = half - 1; n >= 0; n--) {
        bool data = word >> n & 1, left_out = word >> (half + n) & 1;
        bool clock = (is_fm || (!before && !data)) && !left_out;
        cells = cells << 2 | (uint64_t)clock << 1 | data;
        before = data;
    }
    return cells;
}

static void serialise(controller *self, uint32_t word)
{
    write_gate *g = &self->gate;
    g->stage = GATE_WORD;
    g->word = word;
    g->word_cells = 0;
    g->cells_left = (uint32_t)self->word_bits;
    g->pattern = encode(self, word) << (64 - self->word_bits);
}

/* The words that are to be serialised, fillers not counted. */
static uint64_t words_due(const controller *self)
{
    uint64_t words = self->transfer.words;
    if (fault(self, FAULT_EXTRA_WORD)) words++;
    if (fault(self, FAULT_LAST_WORD_LOST) && words > 1) words--;
    return words;
}

/* No word waits, and some are still owed. */
static void underrun(controller *self)
{
    write_gate *g = &self->gate;
    if (fault(self, FAULT_UNDERRUN_HALF_WORD)) {
        serialise(self, g->word);
        g->cells_left /= 2;
        return;
    }
    switch (choice(self, TP_KEY_UNDERRUN)) {
    case UNDERRUN_REPEAT:
        serialise(self, g->word);
        break;
    case UNDERRUN_ZEROS:
        serialise(self, 0);
        break;
    case UNDERRUN_CLOSE_GATE:
        close_gate(self);
        cut_write(self);
        break;
    default:
        g->stage = GATE_HOLD;
        g->cells_left = 1;
        g->data_before = false;
        break;
    }
}

static void serialise_next(controller *self)
{
    write_plan *plan = &self->plan;
    bool is_extra = plan->serialised >= self->transfer.words; /* only by a fault */
    if (!is_extra && self->fifo.count == 0) {
        underrun(self);
        return;
    }
    serialise(self, is_extra ? self->gate.word : queue_pop(&self->fifo));
    if (++plan->serialised >= words_due(self))
        self->gate.cells_left -= (uint32_t)choice(self, TP_KEY_LOST_TAIL);
}

/* The last cell of the last word has been written. The gate stays open for a pulse that is 2 cells
 * behind the last 1, if that is still to come, and as long as the profile has it. */
static void finish_words(controller *self)
{
    write_gate *g = &self->gate;
    uint32_t lost_tail = (uint32_t)choice(self, TP_KEY_LOST_TAIL);
    self->plan.phase = CLOSES;
    self->last_data_bit = g->word & 1;
    g->stage = GATE_TAIL;
    g->cells_left = (uint32_t)choice(self, TP_KEY_GATE_OFF_MIN);
    if (choice(self, TP_KEY_TAIL_PULSE) && g->zeros < 2) {
        g->pulse_in = 2 - (uint32_t)g->zeros;
        g->cells_left += g->pulse_in;
    }
    if (choice(self, TP_KEY_WRITE_DONE) != WRITE_DONE_LAST_BIT) return;
    if (lost_tail > 0)
        self->plan.cells_to_last_bit = lost_tail;
    else
        check_write_done(self, WRITE_DONE_LAST_BIT);
}

/* -------------------------------------------------------------------------------------- cells */

/* Opens the gate if it is due. Without a word by then, that match or index is missed. */
static void start_if_due(controller *self)
{
    write_plan *plan = &self->plan;
    see_index_edge(self);
    if (plan->phase == AWAITS_GATE && plan->cells_to_gate > 0) {
        plan->cells_to_gate--;
        return;
    }
    if (plan->phase != AWAITS_GATE && plan->phase != AWAITS_WORD) return;
    if (self->fifo.count == 0) {
        plan->phase = plan->start;
        return;
    }
    plan->phase = SERIALISES;
    open_gate(self, GATE_LEAD, (uint32_t)choice(self, TP_KEY_GATE_LEAD));
}

static bool next_cell_of_word(controller *self)
{
    write_gate *g = &self->gate;
    bool one = g->pattern >> 63 != 0;
    g->pattern <<= 1;
    if (fault(self, FAULT_LONE_ONE_DROPPED) && g->cell) return false;
    return one;
}

/* Settles what is written in the cell that begins, while a write is under way or the gate open. */
void begin_written_cell(controller *self)
{
    write_gate *g = &self->gate;
    if (!g->open) start_if_due(self);
    if (!g->open) return;
    if (g->stage != GATE_TAIL && g->cells_left == 0) serialise_next(self);
    if (!g->open) return; /* closed by an underrun */
    switch (g->stage) {
    case GATE_WORD:
        g->cell = next_cell_of_word(self);
        break;
    case GATE_TAIL:
        g->cell = g->pulse_in > 0 && --g->pulse_in == 0;
        break;
    default:
        g->cell = false;
        break;
    }
}

/* The cell that ends goes onto the track. */
void lay_cell(controller *self)
{
    write_gate *g = &self->gate;
    g->laid++;
    if (g->target == NULL || g->lost) return;
    if (fault(self, FAULT_FIRST_TURN_ONLY) && g->laid > g->turn_bits) return;
    set_cell(g->target, g->position, g->cell);
    if (++g->position == g->turn_bits) g->position = 0;
}

/* Data bits are every second cell of a word. */
static void remember_data_bit(controller *self)
{
    write_gate *g = &self->gate;
    if (g->stage != GATE_WORD || ++g->word_cells % 2 != 0) return;
    g->data_before = self->last_data_bit = g->cell;
}

static void end_gated_cell(controller *self)
{
    write_gate *g = &self->gate;
    g->zeros = g->cell ? 0 : g->zeros + 1;
    remember_data_bit(self);
    if (g->cells_left > 0) g->cells_left--;
    if (g->closing || (g->finishes_word && g->cells_left == 0)) {
        close_gate(self);
        if (self->plan.phase == IS_CUT) cut_write(self);
        return;
    }
    if (g->stage == GATE_WORD && g->cells_left == 0 && self->plan.serialised >= words_due(self))
        finish_words(self);
    if (g->stage != GATE_TAIL || g->cells_left > 0) return;
    close_gate(self);
    if (self->plan.phase != CLOSES) return;
    check_write_done(self, WRITE_DONE_GATE_OFF);
    end_write_if_over(self);
}

/* The cell has passed, and its bit has been shifted in. */
void end_written_cell(controller *self)
{
    write_plan *plan = &self->plan;
    bool is_last_bit = plan->cells_to_last_bit > 0 && --plan->cells_to_last_bit == 0;
    if (is_last_bit) {
        check_write_done(self, WRITE_DONE_LAST_BIT);
        end_write_if_over(self);
    }
    if (self->gate.open) end_gated_cell(self);
}
