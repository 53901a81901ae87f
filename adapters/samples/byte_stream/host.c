/* The host's side: what each event does, and what the polls answer. */
#include "controller.h"

static uint32_t status(const controller *c) {
    const transfer *t = &c->transfer;
    uint32_t bits = drives_lines(c);
    if (c->done)
        bits |= TP_STATUS_DONE;
    if (t->stage != STAGE_IDLE)
        bits |= TP_STATUS_BUSY;
    if (c->error)
        bits |= TP_STATUS_ERROR;
    if (is(c, TP_KEY_FLAG, FLAG_LEVEL) ? reader_match_shows(c)
                                       : c->reader.flag && !is(c, TP_KEY_FLAG, FLAG_EVENT))
        bits |= TP_STATUS_MATCH;
    return bits;
}

static void poll_status(controller *c) {
    tell(c, TP_ITEM_STATUS, 0, status(c), false);
    if (is(c, TP_KEY_FLAG, FLAG_CLEAR_ON_READ) && !fault(c, MATCH_FLAG_STAYS))
        c->reader.flag = false;
    if (fault(c, STATUS_TAKES_BYTE_FLAG))
        c->reader.byte_new = false;
}

/* Byte and flag in one operation; the byte counts as read from then on. */
static void poll_byte(controller *c) {
    tell(c, TP_ITEM_BYTE, 0, c->reader.byte, c->reader.byte_new);
    c->reader.byte_new = false;
}

void host_event(controller *c, const tp_event *event) {
    time_pass(c, event->at_ns);
    switch (event->kind) {
    case TP_SELECT: drives_select(c, event->a); break;
    case TP_MOTOR: drives_motor(c, event->a); break;
    case TP_SIDE: drives_side(c, event->a); break;
    case TP_STEP: drives_step(c, event->a == 1); break;
    case TP_SYNC_WORD: c->reader.sync_word = event->b & ones(c->register_bits); break;
    case TP_HARDWARE_SYNC: transfer_sync(c, event->a == 1); break;
    case TP_READ:
    case TP_WRITE: transfer_request(c, event); break;
    case TP_SERVICE: transfer_service(c, event->transfer); break;
    case TP_ABORT: transfer_abort(c); break;
    case TP_RESET: transfer_reset(c); break;
    case TP_POLL_STATUS: poll_status(c); break;
    case TP_POLL_BYTE: poll_byte(c); break;
    default: break; /* an output that has nothing to do with us, the end, or an event to come */
    }
}
