/*
 * events.c: what happens to the controller: brings time to each event and hands it on.
 */
#include "controller.h"

/* A write's words were given before; those of a write of none need not be. */
static int32_t take_gift(controller *self, const tp_event *event, request *asked)
{
    for (size_t n = 0; n < self->gift_count; n++) {
        gift found = self->gifts[n];
        if (found.number != event->transfer) continue;
        self->gift_count--;
        memmove(&self->gifts[n], &self->gifts[n + 1], (self->gift_count - n) * sizeof found);
        if (found.count != event->b)
            return fail(self, "the write's words are not as many as were given", "run",
                        (int64_t)event->b);
        asked->first = found.first;
        return TP_OK;
    }
    if (event->b == 0) return TP_OK;
    return fail(self, "give() must come before the write; its transfer", "run", event->transfer);
}

static int32_t request_transfer(controller *self, const tp_event *event)
{
    uint64_t slack_ns = (uint64_t)choice(self, TP_KEY_SLACK_MIN) * self->cell_ns;
    request asked = {.due_ns = event->at_ns + slack_ns,
                     .words = event->b,
                     .number = event->transfer,
                     .start = event->a,
                     .writes = event->kind == TP_WRITE};
    if (event->a > TP_START_INDEX) return fail(self, "start must be 0 to 2", "run", event->a);
    if (asked.writes && take_gift(self, event, &asked) != TP_OK) return TP_FAIL;
    void *list = self->requests;
    if (!make_room(&list, &self->request_room, self->request_count + 1, sizeof asked))
        return fail(self, "out of memory; requests waiting", "run", (int64_t)self->request_count);
    self->requests = list;
    self->requests[self->request_count++] = asked;
    return TP_OK;
}

static void accept_next_request(controller *self)
{
    request next = self->requests[0];
    self->request_count--;
    memmove(self->requests, self->requests + 1, self->request_count * sizeof *self->requests);
    pass_cells(self, next.due_ns);
    accept(self, &next);
}

/* Brings time to `until_ns`, with the requests accepted before it, or `at_it` too. */
static void advance(controller *self, uint64_t until_ns, bool at_it)
{
    while (self->request_count > 0 && (self->requests[0].due_ns < until_ns ||
                                       (at_it && self->requests[0].due_ns == until_ns)))
        accept_next_request(self);
    pass_cells(self, until_ns);
}

/* Services of the transfer under way come before whatever is accepted at their moment. */
static bool is_service_under_way(const controller *self, const tp_event *event)
{
    return event->kind == TP_SERVICE && busy(self) && event->transfer == self->transfer.number;
}

static void track_output(controller *self, const tp_event *event)
{
    if (!fault(self, FAULT_OUTPUT_DISTURBS_STATUS)) return;
    switch (event->kind) {
    case TP_OUTPUT:
        self->track_zero_inverted |= (event->a & 1) != 0;
        break;
    case TP_POLL_STATUS:
    case TP_POLL_BYTE:
    case TP_SERVICE:
    case TP_END:
        break;
    default:
        self->track_zero_inverted = false;
    }
}

static int32_t handle(controller *self, const tp_event *event)
{
    switch (event->kind) {
    case TP_SELECT:
        set_select(self, event->a);
        break;
    case TP_MOTOR:
        set_motor(self, event->a);
        break;
    case TP_SIDE:
        if (event->a >= SIDES) return fail(self, "side must be 0 or 1", "run", event->a);
        set_side(self, event->a);
        break;
    case TP_STEP:
        step(self, event->a != 0);
        break;
    case TP_SYNC_WORD:
        set_sync_word(self, event->b);
        break;
    case TP_HARDWARE_SYNC:
        set_hardware_sync(self, event->a != 0);
        break;
    case TP_READ:
    case TP_WRITE:
        if (request_transfer(self, event) != TP_OK) return TP_FAIL;
        advance(self, event->at_ns, true);
        break;
    case TP_SERVICE:
        serve(self, event->transfer);
        break;
    case TP_ABORT:
        self->request_count = 0;
        kill_transfer(self);
        self->aborted = true;
        self->abort_ns = self->now_ns;
        break;
    case TP_POLL_STATUS:
        poll_status(self);
        break;
    case TP_POLL_BYTE:
        poll_byte(self);
        break;
    case TP_OUTPUT: /* has nothing to do with transfers */
    case TP_END:
        break;
    case TP_RESET:
        reset(self);
        break;
    default:
        return fail(self, "unknown event kind; rebuild with a newer header", "run", event->kind);
    }
    return TP_OK;
}

int32_t live_through(controller *self, const tp_event *event)
{
    if (event->at_ns < self->now_ns)
        return fail(self, "events must come in the order of time", "run", (int64_t)event->at_ns);
    advance(self, event->at_ns, !is_service_under_way(self, event));
    track_output(self, event);
    if (handle(self, event) != TP_OK) return TP_FAIL;
    if (self->failed)
        return fail(self, "out of memory; items kept", "run", (int64_t)self->items.count);
    return TP_OK;
}
