/*
 * power_up.c: everything as new: profile, drives and tracks are checked and copied.
 */
#include "controller.h"

#include <stdio.h>

/* The keys that are needed, with the values that can be served. All others are ignored. */
static const struct {
    uint32_t key;
    const char *name;
    int64_t least, most;
} key_ranges[] = {
    {TP_KEY_RECORDING, "recording", 0, RECORDING_MFM},
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
    {TP_KEY_UNDERRUN, "underrun", 0, UNDERRUN_HOLD},
    {TP_KEY_ERROR_FLAG, "error_flag", 0, ERROR_FLAG_PER_TRANSFER},
    {TP_KEY_READ_DONE, "read_done", 0, READ_DONE_LAST_COMPLETED},
    {TP_KEY_WRITE_DONE, "write_done", 0, WRITE_DONE_GATE_OFF},
    {TP_KEY_START_BUSY, "start_busy", 0, START_BUSY_ERROR},
    {TP_KEY_ZERO_WORDS, "zero_words", 0, ZERO_WORDS_MAXIMUM},
    {TP_KEY_MAX_WORDS, "max_words", 1, INT64_MAX},
    {TP_KEY_READ_JOIN, "read_join", 0, 1},
    {TP_KEY_WRITE_JOIN, "write_join", 0, 1},
    {TP_KEY_RESET_CLEARS_REGISTER, "reset_clears_register", 0, 1},
    {TP_KEY_NO_DRIVE_READ, "no_drive_read", 0, NO_DRIVE_NOTHING},
    {TP_KEY_WRITE_UNIT, "write_unit", 0, WRITE_DATA_BYTES},
    {TP_KEY_FIRST_CONTEXT, "first_context", 0, FIRST_CONTEXT_LAST},
    {TP_KEY_GATE_LEAD, "gate_lead", 0, INT16_MAX},
    {TP_KEY_MATCH_TO_WRITE, "match_to_write", 0, INT16_MAX},
    {TP_KEY_INDEX_EDGE, "index_edge", 0, INDEX_TRAILING},
    {TP_KEY_LOST_TAIL, "lost_tail", 0, 31},
    {TP_KEY_TAIL_PULSE, "tail_pulse", 0, 1},
    {TP_KEY_GATE_OFF_MIN, "gate_off_min", 0, INT16_MAX},
    {TP_KEY_CHECKS_PROTECT, "checks_protect", 0, 1},
};

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
    if (choice(self, TP_KEY_LOST_TAIL) >= word_bits)
        return fail(self, "must be under a word", "power_up: profile key lost_tail",
                    choice(self, TP_KEY_LOST_TAIL));

    self->cell_ns = (uint64_t)choice(self, TP_KEY_CHANNEL_BIT_NS);
    self->word_bits = (int32_t)word_bits;
    self->word_mask = low_bits((uint32_t)word_bits);
    self->register_mask = low_bits((uint32_t)choice(self, TP_KEY_REGISTER_BITS));
    self->compare_mask = (uint64_t)choice(self, TP_KEY_SYNC_MASK) & self->register_mask;
    if (fault(self, FAULT_IGNORES_SYNC_BIT)) self->compare_mask &= ~(uint64_t)8;
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

/* The form of a track. Callers of before there were forms know channel bits alone. */
static tp_form form_of(const tp_setup *setup, uint32_t track_number)
{
    bool has_forms = setup->struct_size >= offsetof(tp_setup, forms) + sizeof setup->forms;
    if (!has_forms || setup->forms == NULL) return (tp_form){.form = TP_FORM_IMAGE};
    return setup->forms[track_number];
}

/* An image's numbers, each with its limit, before they are reckoned with. */
static int32_t check_image(controller *self, const tp_form *form, uint32_t turn_bits)
{
    const char *where = "power_up: track's form";
    if (form->layout > TP_LAYOUT_SOFT_SECTOR)
        return fail(self, "layout must be 0 or 1", where, form->layout);
    if (form->sectors == 0 || form->sectors > MAX_SECTORS)
        return fail(self, "sectors must be 1 to 255", where, form->sectors);
    if (form->sector_bytes == 0 || form->sector_bytes > UINT16_MAX)
        return fail(self, "sector_bytes must be 1 to 65535", where, form->sector_bytes);
    if (form->layout == TP_LAYOUT_SOFT_SECTOR &&
        (form->size_code > 6 || form->sector_bytes != 128u << form->size_code))
        return fail(self, "sector_bytes must be 128 * 2^size_code", where, form->sector_bytes);
    const uint32_t gaps[] = {form->gap_4a_bytes, form->gap_1_bytes, form->gap_2_bytes,
                             form->gap_3_bytes};
    for (size_t n = 0; n < sizeof gaps / sizeof *gaps; n++)
        if (gaps[n] > UINT16_MAX) return fail(self, "a gap is over 65535 bytes", where, gaps[n]);
    if (turn_bits % 16 != 0)
        return fail(self, "a turn must be whole bytes, its bits", where, turn_bits);
    if (image_cells(form) > turn_bits)
        return fail(self, "the layout takes more than a turn, bits", where,
                    (int64_t)image_cells(form));
    return TP_OK;
}

static int32_t check_track(controller *self, const tp_track *track, const tp_form *form)
{
    const char *where = "power_up: track";
    if (track->drive >= self->drive_count) return fail(self, "no such drive", where, track->drive);
    if (track->cylinder >= CYLINDERS)
        return fail(self, "cylinder must be 0 to 83", where, track->cylinder);
    if (track->side >= SIDES) return fail(self, "side must be 0 or 1", where, track->side);
    if (track->bytes == NULL) return fail(self, "has no bytes", where, 0);
    if (form->form > TP_FORM_SECTORS) return fail(self, "form must be 0 to 2", where, form->form);
    uint32_t bits = self->drives[track->drive].turn_bits;
    if (form->form == TP_FORM_SECTORS) {
        if (check_image(self, form, bits) != TP_OK) return TP_FAIL;
        bits = form->sectors * form->sector_bytes * 8;
    }
    if (track->bit_count != bits)
        return fail(self, "bit_count must be its drive's turn_bits, or its sectors' bits", where,
                    track->bit_count);
    return TP_OK;
}

/* The bytes of a turn of this drive. */
static size_t turn_bytes(const controller *self, uint32_t drive)
{
    return (self->drives[drive].turn_bits + 7) / 8;
}

/* Copies a track to this place; an image's stream stands before its sectors. Gives the place
 * behind it. */
static uint8_t *take_track(controller *self, const tp_track *given, const tp_form *form,
                           uint8_t *place)
{
    size_t size = (given->bit_count + 7) / 8, cell_bytes = turn_bytes(self, given->drive);
    track *taken = &self->tracks[given->drive][given->cylinder][given->side];
    *taken = (track){.cells = place,
                     .cell_count = self->drives[given->drive].turn_bits,
                     .cylinder = (uint8_t)given->cylinder,
                     .side = (uint8_t)given->side,
                     .form = *form};
    if (form->form != TP_FORM_SECTORS) {
        memcpy(place, given->bytes, size);
        return place + size;
    }
    taken->sectors = place + cell_bytes;
    memcpy(taken->sectors, given->bytes, size);
    make_stream(self, taken);
    return taken->sectors + size;
}

/* Copies the tracks into one buffer, which is made large enough before any pointer goes into it. */
static int32_t take_tracks(controller *self, const tp_setup *setup)
{
    if (setup->track_count > 0 && setup->tracks == NULL)
        return fail(self, "are missing", "power_up: tracks", setup->track_count);
    size_t total = 0;
    for (uint32_t n = 0; n < setup->track_count; n++) {
        const tp_track *track = &setup->tracks[n];
        tp_form form = form_of(setup, n);
        if (check_track(self, track, &form) != TP_OK) return TP_FAIL;
        total += turn_bytes(self, track->drive);
        if (form.form == TP_FORM_SECTORS) total += (track->bit_count + 7) / 8;
    }
    void *recorded = self->recorded;
    if (!make_room(&recorded, &self->recorded_room, total, 1))
        return fail(self, "out of memory; bytes needed", "power_up: tracks", (int64_t)total);
    self->recorded = recorded;

    memset(self->tracks, 0, sizeof self->tracks);
    uint8_t *place = self->recorded;
    for (uint32_t n = 0; n < setup->track_count; n++) {
        tp_form form = form_of(setup, n);
        place = take_track(self, &setup->tracks[n], &form, place);
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
    self->given_count = self->gift_count = 0;
    self->transfer = (transfer){.phase = IDLE};
    self->plan = (write_plan){.phase = PLANS_NOTHING};
    self->gate = (write_gate){.open = false};
    self->last_data_bit = false;
    self->transfer_ran = false;
    self->ghost = false;
    self->done_ns = 0;
    self->aborted = false;
    self->abort_ns = 0;
    self->track_zero_inverted = false;
    self->service_stolen = false;
    self->selected_before = NULL;
    self->side_before = self->plan_side = 0;
    self->stale_of = NULL;
    self->stale_left = 0;
}

/* Takes what power_up() is given. */
int32_t begin_case(controller *self, const tp_setup *setup)
{
    forget_case(self);
    if (setup == NULL) return fail(self, "is missing", "power_up: setup", 0);
    if (setup->struct_size < offsetof(tp_setup, forms))
        return fail(self, "is of an older header", "power_up: setup's struct_size",
                    setup->struct_size);
    if (take_profile(self, setup->profile) != TP_OK) return TP_FAIL;
    if (take_drives(self, setup) != TP_OK || take_tracks(self, setup) != TP_OK) return TP_FAIL;
    uint64_t faults = self->faults;
    self->faults = 0; /* whatever a reset leaves undone, power-up does */
    reset(self);
    self->faults = faults;
    aim_head(self);
    return TP_OK;
}
