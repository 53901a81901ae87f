/*
 * time.c: lets channel bits pass. At one moment the bit that ends there comes first, then the
 * services and other events, then what the begin of the next cell starts.
 */
#include "controller.h"

/* What the begin of a cell starts: cell 0 of a spinning, selected drive is the index. */
static void begin_cell(controller *self)
{
    self->cell_begun = true;
    if (self->transfer.phase == WAITS_FOR_INDEX && at_cell(self, 0)) {
        self->now_ns = self->cell_begin_ns;
        start_raw(self);
    }
    if (self->gate.open || self->transfer.phase == WRITES) {
        self->now_ns = self->cell_begin_ns;
        begin_written_cell(self);
    }
}

static uint64_t next_noise_bit(controller *self)
{
    self->noise ^= self->noise << 13;
    self->noise ^= self->noise >> 7;
    self->noise ^= self->noise << 17;
    return self->noise >> 63;
}

/* The bit of the track under the head, which moves on. */
static uint64_t next_track_bit(controller *self)
{
    read_data *source = &self->source;
    uint32_t cell = source->position;
    if (++source->position == source->turn_bits) source->position = 0;
    const uint8_t *cells = source->cells;
    if (self->stale_left > 0 && cells == self->stale_of) { /* only set by a fault */
        self->stale_left--;
        cells = self->stale;
    }
    return cells == NULL ? 0 : (uint64_t)(cells[cell / 8] >> (7 - cell % 8) & 1);
}

/* Shifts in the bit of the cell that ends now, if one comes. Zeros while the gate is open. */
static void read_cell(controller *self)
{
    uint64_t bit = self->source.gives_data ? next_track_bit(self) : 0;
    if (self->source.gives_data || self->gate.open) {
        shift_in(self, self->gate.open ? 0 : bit);
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

void land_late_sync_bits(controller *self)
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
    if (self->gate.open) lay_cell(self);
    read_cell(self);
    if (self->gate.open || self->transfer.phase == WRITES) end_written_cell(self);
    if (self->reader.late_cells > 0 && --self->reader.late_cells == 0) land_late_sync_bits(self);
}

/* Whether nothing that bits do now can be told later, but by the newest 64 of them. */
static bool unwatched(const controller *self)
{
    const reader *r = &self->reader;
    bool flag_remembers = choice(self, TP_KEY_FLAG) != FLAG_LEVEL && flag_enabled(self);
    return !busy(self) && !self->gate.open && !r->hardware_sync && r->late_cells == 0 &&
           !flag_remembers && choice(self, TP_KEY_LATCH_WORDS) == 0 && self->faults == 0;
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
void pass_cells(controller *self, uint64_t until_ns)
{
    leap_cells(self, until_ns);
    while (self->cell_begin_ns < until_ns) {
        if (!self->cell_begun) begin_cell(self);
        if (until_ns - self->cell_begin_ns < self->cell_ns) break;
        end_cell(self);
    }
    self->now_ns = until_ns;
}
