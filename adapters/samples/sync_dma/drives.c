/*
 * drives.c: the drives and their lines: select, motor, side, step, and what the status shows.
 */
#include "controller.h"

/* The cell of this drive's track that is passing the head. */
uint32_t cell_at_head(const controller *self, const drive *d)
{
    return (uint32_t)((d->start_bit + self->cell_begin_ns / self->cell_ns) % d->turn_bits);
}

/* The selected, spinning drive's cell of that number begins now. */
bool at_cell(const controller *self, uint32_t cell)
{
    return self->source.gives_data && self->source.position == cell;
}

/* The track under the head of this drive, recorded or not. */
track *track_at(controller *self, const drive *d, uint32_t side)
{
    return &self->tracks[d - self->drives][d->cylinder][side];
}

/* Points the read data at what the lines select. A platter's angle runs on at all times. */
void aim_head(controller *self)
{
    const drive *d = self->selected;
    self->source = (read_data){.gives_data = false};
    if (d == NULL || !d->motor) return;
    self->source = (read_data){
        .gives_data = true,
        .cells = track_at(self, d, self->side)->cells,
        .turn_bits = d->turn_bits,
        .position = cell_at_head(self, d),
    };
}

static void switch_source(controller *self)
{
    aim_head(self);
    invalidate_register(self);
}

void set_select(controller *self, uint32_t mask)
{
    if (mask == self->select_mask) return;
    lose_write(self);
    self->select_mask = mask;
    drive *before = self->selected;
    self->selected = NULL;
    for (uint32_t n = self->drive_count; n-- > 0;)
        if (mask >> n & 1) self->selected = &self->drives[n];
    if (before != NULL && before != self->selected) self->selected_before = before;
    if (before != NULL && before != self->selected && !before->change_clears_by_step)
        before->changed = false;
    switch_source(self);
}

/* Data stops or comes back, but from the same place: no switch of the source. */
void set_motor(controller *self, uint32_t mask)
{
    bool line_changed = false;
    for (uint32_t n = 0; n < self->drive_count; n++) {
        drive *d = &self->drives[n];
        bool on = mask >> n & 1;
        line_changed |= on != d->motor;
        if (on != d->motor && d == self->selected) lose_write(self);
        if (on && !d->motor) d->spinning_since_ns = self->now_ns;
        d->motor = on;
    }
    if (fault(self, FAULT_OTHER_MOTOR_RESTARTS_READY) && line_changed)
        for (uint32_t n = 0; n < self->drive_count; n++)
            self->drives[n].spinning_since_ns = self->now_ns;
    aim_head(self);
}

void set_side(controller *self, uint32_t side)
{
    if (side == self->side) return;
    lose_write(self);
    self->side = side;
    if (self->selected != NULL) switch_source(self);
}

/* A drive that writes does not step. */
void step(controller *self, bool towards_zero)
{
    drive *d = self->selected;
    if (d == NULL || self->gate.open) return;
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

uint32_t drive_lines(const controller *self)
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
