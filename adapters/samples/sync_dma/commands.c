/*
 * commands.c: polls, settings and reset.
 */
#include "controller.h"

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

void poll_status(controller *self)
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
void poll_byte(controller *self)
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

void set_sync_word(controller *self, uint64_t word)
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

void set_hardware_sync(controller *self, bool on)
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

/* Reset reaches the controller, not the drives: lines, heads and change latches stay. So do the
 * register's bits, unless the profile clears them, and its validity. */
void reset(controller *self)
{
    reader *r = &self->reader;
    uint32_t waiting = self->fifo.count;
    self->request_count = 0;
    kill_transfer(self);
    if (fault(self, FAULT_RESET_KEEPS_FIFO)) self->fifo.count = waiting;
    if (!fault(self, FAULT_RESET_KEEPS_COUNTER)) zero_counter(self);
    if (choice(self, TP_KEY_RESET_CLEARS_REGISTER)) r->history = 0;
    r->quiet_bits = 0;
    r->late_cells = 0;
    r->late_mask = 0;
    r->flag_latched = false;
    r->match_seen = false;
    if (!fault(self, FAULT_RESET_KEEPS_SYNC_WORD)) r->sync_word = 0x4489 & self->register_mask;
    if (!fault(self, FAULT_RESET_KEEPS_ENABLE)) r->hardware_sync = false;
    self->whole_write_before = false;
    if (!fault(self, FAULT_RESET_KEEPS_BYTE)) self->port = (byte_port){.value = 0};
    if (!fault(self, FAULT_RESET_KEEPS_ERROR)) self->error_shown = false;
}
