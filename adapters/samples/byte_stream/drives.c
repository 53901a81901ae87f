/*
 * Drives: their lines, and the track that lies under the head of the selected one.
 *
 * A platter's angle runs on at all times; cell k of time is cell (start_bit + k) of the turn.
 */
#include "controller.h"
#include <stdlib.h>
#include <string.h>

static drive *selected(controller *c) {
    return c->selected < 0 ? NULL : &c->drives[c->selected];
}

static const drive *selected_now(const controller *c) {
    return c->selected < 0 ? NULL : &c->drives[c->selected];
}

track *drives_track(const controller *c, uint32_t drive, uint32_t cylinder, uint32_t side) {
    for (track *t = c->tracks; t < c->tracks + c->track_count; t++)
        if (t->drive == drive && t->cylinder == cylinder && t->side == side)
            return t;
    return NULL;
}

static void find_track(controller *c) {
    const drive *d = selected(c);
    c->under_head = d ? drives_track(c, (uint32_t)c->selected, d->is.cylinder, c->side) : NULL;
}

static uint8_t *copy_of(const uint8_t *bytes, size_t count) {
    uint8_t *copy = malloc(count ? count : 1);
    if (copy && count)
        memcpy(copy, bytes, count);
    return copy;
}

/* Copies one track; an image's channel bits are made of its sectors. */
static bool take_track(track *t, const tp_track *from, const tp_form *form, uint32_t turn_bits) {
    *t = (track){.drive = from->drive, .cylinder = from->cylinder, .side = from->side};
    t->turn_bits = turn_bits;
    if (form)
        t->form = *form;
    size_t bytes = ((size_t)from->bit_count + 7) / 8;
    if (t->form.form != TP_FORM_SECTORS) {
        t->bits = copy_of(from->bytes, bytes);
        return t->bits != NULL;
    }
    t->sector_bytes = bytes;
    t->sectors = copy_of(from->bytes, bytes);
    t->bits = calloc((size_t)turn_bits / 8 + 1, 1);
    if (!t->sectors || !t->bits)
        return false;
    image_stream(t);
    return true;
}

int32_t drives_take(controller *c, const tp_setup *setup) {
    if (setup->drive_count == 0 || setup->drive_count > MAX_DRIVES)
        return fail(c, "%u drives; this controller has lines for 1 to %d", setup->drive_count,
                    MAX_DRIVES);
    drives_free(c);
    c->drive_count = setup->drive_count;
    for (uint32_t i = 0; i < setup->drive_count; i++)
        c->drives[i] = (drive){.is = setup->drives[i], .changed = true};
    c->selected = -1;
    c->side = 0;
    c->tracks = calloc(setup->track_count ? setup->track_count : 1, sizeof *c->tracks);
    if (!c->tracks)
        return fail(c, "no memory for %u tracks", setup->track_count);
    for (uint32_t i = 0; i < setup->track_count; i++) {
        const tp_track *from = &setup->tracks[i];
        if (from->drive >= c->drive_count)
            return fail(c, "a track of drive %u, there are %u drives", from->drive, c->drive_count);
        const tp_form *form = setup->forms ? &setup->forms[i] : NULL;
        c->track_count = i + 1;
        if (!take_track(&c->tracks[i], from, form, c->drives[from->drive].is.turn_bits))
            return fail(c, "no memory for a track of %u bits", from->bit_count);
    }
    find_track(c);
    return TP_OK;
}

void drives_free(controller *c) {
    for (uint32_t i = 0; i < c->track_count; i++) {
        free(c->tracks[i].bits);
        free(c->tracks[i].sectors);
    }
    free(c->tracks);
    c->tracks = NULL;
    c->track_count = 0;
}

void drives_select(controller *c, uint32_t mask) {
    int next = -1;
    for (uint32_t i = 0; i < c->drive_count; i++)
        if (mask >> i & 1)
            next = (int)i;
    if (next == c->selected)
        return;
    writer_lines_changed(c);
    drive *before = selected(c);
    if (before && before->is.change_clear == 1)
        before->changed = false;
    c->selected = next;
    find_track(c);
    reader_source_changed(c);
}

void drives_motor(controller *c, uint32_t mask) {
    for (uint32_t i = 0; i < c->drive_count; i++) {
        drive *d = &c->drives[i];
        bool on = mask >> i & 1;
        if (on == d->motor)
            continue;
        if ((int)i == c->selected)
            writer_lines_changed(c);
        d->motor = on;
        d->motor_since_ns = c->now_ns;
    }
}

void drives_side(controller *c, uint32_t side) {
    if (side == c->side)
        return;
    writer_lines_changed(c);
    c->side = side;
    find_track(c);
    reader_source_changed(c);
}

void drives_step(controller *c, bool out) {
    drive *d = selected(c);
    if (!d || c->writer.gate)
        return;
    if (d->is.change_clear == 0)
        d->changed = false;
    if (out && d->is.cylinder > 0)
        d->is.cylinder--;
    if (!out && d->is.cylinder < LAST_CYLINDER)
        d->is.cylinder++;
    find_track(c);
    reader_source_changed(c);
}

bool drives_spin(const controller *c) {
    const drive *d = selected_now(c);
    return d && d->motor;
}

bool drives_protected(const controller *c) {
    const drive *d = selected_now(c);
    return d && d->is.write_protected;
}

uint32_t drives_position(const controller *c) {
    const tp_drive *d = &c->drives[c->selected].is;
    return (uint32_t)((d->start_bit + c->cell) % d->turn_bits);
}

/* The index line is active for the first hundredth of a turn. */
static bool index_active(const controller *c) {
    const tp_drive *d = &c->drives[c->selected].is;
    uint64_t turn_ns = d->turn_bits * c->bit_ns;
    uint64_t since_index_ns = (d->start_bit * c->bit_ns + c->now_ns) % turn_ns;
    return since_index_ns * 100 < turn_ns;
}

uint32_t drives_lines(const controller *c) {
    const drive *d = selected_now(c);
    if (!d)
        return 0;
    uint32_t lines = 0;
    if (d->is.cylinder == 0)
        lines |= TP_STATUS_TRACK_ZERO;
    if (d->is.write_protected)
        lines |= TP_STATUS_PROTECT;
    if (d->changed)
        lines |= TP_STATUS_CHANGE;
    if (d->motor && index_active(c))
        lines |= TP_STATUS_INDEX;
    if (d->motor && c->now_ns - d->motor_since_ns >= d->is.spin_up_ns)
        lines |= TP_STATUS_READY;
    return lines;
}
