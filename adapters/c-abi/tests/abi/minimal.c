/*
 * The smallest adapter that keeps every rule of trackproof.h: status and bytes are zero, at each
 * service of a read it gives the next two bytes of the first track, with the last one done.
 * Capital names can be defined from outside, to break one rule each.
 */
#include "trackproof.h"
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#ifndef ENTRY_NAME
#define ENTRY_NAME tp_adapter_entry
#endif
#ifndef ENTRY_RESULT
#define ENTRY_RESULT &table.known
#endif
#ifndef TABLE_BYTES
#define TABLE_BYTES sizeof(tp_adapter)
#endif
#ifndef TABLE_MAJOR
#define TABLE_MAJOR TP_ABI_MAJOR
#endif
#ifndef NAME
#define NAME "minimal"
#endif
#ifndef WHY
#define WHY "not today"
#endif
#ifndef CAPABILITIES
#define CAPABILITIES (1u << TP_CAN_READ)
#endif
#ifndef CREATE /* statements at a function's begin */
#define CREATE
#endif
#ifndef PROFILE
#define PROFILE return TP_FAIL;
#endif
#ifndef POWER_UP
#define POWER_UP
#endif
#ifndef RUN
#define RUN
#endif
#ifndef ITEMS_A_DRAIN
#define ITEMS_A_DRAIN 8192u
#endif
#ifndef DRAIN /* with items, capacity, count and code, when all is done */
#define DRAIN
#endif
#ifndef DRAIN_FUNCTION
#define DRAIN_FUNCTION drain
#endif

struct controller {
    uint8_t track[16384];
    uint32_t next, end, words_left;
    size_t given, waiting;
    tp_item items[8192];
};

static void *create(const char *options) {
    CREATE
    (void)options;
    return calloc(1, sizeof(struct controller));
}

static void destroy(void *self) { free(self); }

static uint64_t capabilities(void *self) {
    (void)self;
    return CAPABILITIES;
}

static int32_t profile(void *self, int64_t *values, uint32_t count) {
    (void)self, (void)values, (void)count;
    PROFILE
}

static int32_t power_up(void *self, const tp_setup *setup) {
    POWER_UP
    struct controller *c = self;
    memset(c, 0, sizeof *c);
    if (setup->track_count > 0) {
        c->end = (setup->tracks[0].bit_count + 7) / 8;
        if (c->end > sizeof c->track)
            return TP_FAIL;
        memcpy(c->track, setup->tracks[0].bytes, c->end);
    }
    return TP_OK;
}

static void put(struct controller *c, uint64_t at_ns, uint32_t kind, uint64_t value) {
    if (c->waiting < sizeof c->items / sizeof c->items[0])
        c->items[c->waiting++] = (tp_item){.at_ns = at_ns, .kind = kind, .value = value};
}

static int32_t run(void *self, const tp_event *events, uint64_t count) {
    RUN
    struct controller *c = self;
    for (uint64_t i = 0; i < count; i++) {
        const tp_event *event = &events[i];
        if (event->kind == TP_POLL_STATUS)
            put(c, event->at_ns, TP_ITEM_STATUS, 0);
        if (event->kind == TP_POLL_BYTE)
            put(c, event->at_ns, TP_ITEM_BYTE, 0);
        if (event->kind == TP_READ)
            c->words_left = (uint32_t)event->b;
        if (event->kind == TP_SERVICE && c->words_left > 0 && c->next + 1 < c->end) {
            put(c, event->at_ns, TP_ITEM_WORD,
                (uint64_t)c->track[c->next] << 8 | c->track[c->next + 1]);
            c->items[c->waiting - 1].transfer = event->transfer;
            c->next += 2;
            if (--c->words_left == 0)
                put(c, event->at_ns, TP_ITEM_DONE, 0);
        }
    }
    return TP_OK;
}

static int32_t drain(void *self, tp_item *items, uint64_t capacity, uint64_t *count) {
    struct controller *c = self;
    uint64_t room = capacity < ITEMS_A_DRAIN ? capacity : ITEMS_A_DRAIN;
    int32_t code = TP_OK;
    *count = c->waiting - c->given;
    if (*count > room) {
        *count = room;
        code = TP_MORE;
    }
    memcpy(items, c->items + c->given, (size_t)*count * sizeof *items);
    c->given += (size_t)*count;
    if (c->given == c->waiting)
        c->given = c->waiting = 0;
    DRAIN
    return code;
}

char long_text[5000]; /* for WHY */

static const char *last_error(void *self) {
    (void)self;
    return WHY;
}

/* With room for what a later version may append. */
static const struct {
    tp_adapter known;
    void *later[3];
} table = {
    {TABLE_BYTES, TABLE_MAJOR, TP_ABI_MINOR, NAME, create, destroy, capabilities, profile, power_up,
     run, DRAIN_FUNCTION, last_error, 0, 0},
    {0},
};

const tp_adapter *ENTRY_NAME(uint32_t abi_major);

const tp_adapter *ENTRY_NAME(uint32_t abi_major) {
    /* Named, so that a library which leaves one out has no unused function. */
    (void)drain, (void)table;
    return abi_major == TP_ABI_MAJOR ? ENTRY_RESULT : NULL;
}
