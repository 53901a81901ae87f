/*
 * mine.c: a controller that can do nothing yet. What a function must do stands in trackproof.h.
 *
 * Name in capabilities() what it can do, as soon as it can: each name brings its cases and its
 * rules. Cases that need what is not named are skipped and counted.
 */
#include "trackproof.h"

#include <stdlib.h>

struct controller {
    tp_item *items; /* what the host saw, until drained */
    size_t have, given, room;
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct controller));
}

static void destroy(void *self)
{
    struct controller *c = self;
    free(c->items);
    free(c);
}

static uint64_t capabilities(void *self)
{
    (void)self;
    return 0
        @capabilities@
        ;
}

static int32_t power_up(void *self, const tp_setup *setup)
{
    struct controller *c = self;
    c->have = c->given = 0;
    (void)setup; /* the profile, the drives, what is recorded: copy what you need */
    return TP_OK;
}

static int32_t see(struct controller *c, uint64_t at_ns, uint32_t kind, uint64_t value)
{
    if (c->have == c->room) {
        size_t room = c->room ? 2 * c->room : 64;
        tp_item *items = realloc(c->items, room * sizeof *items);
        if (!items) return TP_FAIL;
        c->items = items;
        c->room = room;
    }
    c->items[c->have++] = (tp_item){.at_ns = at_ns, .kind = kind, .value = value};
    return TP_OK;
}

static int32_t run(void *self, const tp_event *events, uint64_t count)
{
    struct controller *c = self;
    for (const tp_event *e = events; e < events + count; e++) {
        switch (e->kind) {
        case TP_POLL_STATUS: /* a poll is always answered; bits that are not named do not count */
            if (see(c, e->at_ns, TP_ITEM_STATUS, 0) != TP_OK) return TP_FAIL;
            break;
        default: /* not implemented */
            break;
        }
    }
    return TP_OK;
}

static int32_t drain(void *self, tp_item *items, uint64_t capacity, uint64_t *count)
{
    struct controller *c = self;
    uint64_t given = 0;
    while (given < capacity && c->given < c->have)
        items[given++] = c->items[c->given++];
    *count = given;
    if (c->given < c->have) return TP_MORE;
    c->have = c->given = 0;
    return TP_OK;
}

static const tp_adapter table = {
    .struct_size = sizeof(tp_adapter), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "mine", .create = create, .destroy = destroy, .capabilities = capabilities,
    .power_up = power_up, .run = run, .drain = drain,
    /* Not implemented: .profile, .last_error, .give (writes), .show (media). */
};

const tp_adapter *tp_adapter_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
