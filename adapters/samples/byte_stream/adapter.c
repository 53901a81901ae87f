/* The door: the table of functions that trackproof calls. */
#include "controller.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int32_t fail(controller *c, const char *format, ...) {
    va_list values;
    va_start(values, format);
    vsnprintf(c->why, sizeof c->why, format, values);
    va_end(values);
    return TP_FAIL;
}

void tell(controller *c, uint32_t kind, uint32_t transfer, uint64_t value, bool flag) {
    if (c->item_count == c->item_room) {
        size_t room = c->item_room ? 2 * c->item_room : 256;
        tp_item *items = realloc(c->items, room * sizeof *items);
        if (!items) {
            c->out_of_memory = true;
            return;
        }
        c->items = items;
        c->item_room = room;
    }
    c->items[c->item_count++] = (tp_item){
        .at_ns = c->now_ns, .kind = kind, .transfer = transfer, .flag = flag, .value = value};
}

/* Marks the faults named in `options`, separated by commas; false if one does not exist. */
static bool choose_faults(controller *c, const char *options) {
    static const char *const names[FAULT_COUNT] = {
#define FAULT_NAME(constant, name) name,
        FAULTS(FAULT_NAME)
#undef FAULT_NAME
    };
    while (*options) {
        size_t length = strcspn(options, ",");
        int found = -1;
        for (int i = 0; i < FAULT_COUNT; i++)
            if (strlen(names[i]) == length && strncmp(names[i], options, length) == 0)
                found = i;
        if (found < 0)
            return false;
        c->faults[found] = true;
        options += length;
        options += *options == ',';
    }
    return true;
}

static void destroy(void *self) {
    controller *c = self;
    drives_free(c);
    free(c->fifo.words);
    free(c->writer.offered);
    free(c->writer.words);
    free(c->items);
    free(c);
}

static void *create(const char *options) {
    controller *c = calloc(1, sizeof *c);
    if (c && options && !choose_faults(c, options)) {
        destroy(c);
        return NULL;
    }
    return c;
}

static uint64_t capabilities(void *self) {
    (void)self;
    return (UINT64_C(1) << TP_CAN_COUNT) - 1; /* all that this header knows */
}

static int32_t power_up(void *self, const tp_setup *setup) {
    controller *c = self;
    int32_t code = settings_take(c, setup->profile);
    if (code != TP_OK)
        return code;
    free(c->writer.offered);
    free(c->writer.words);
    c->writer = (writer){.opens_at = NEVER};
    c->transfer = (transfer){.stage = STAGE_IDLE};
    c->done = c->error = c->read_ended = c->out_of_memory = false;
    c->item_count = c->items_given = 0;
    time_begin(c);
    reader_power_up(c);
    return drives_take(c, setup);
}

static int32_t give(void *self, uint32_t transfer, const uint64_t *words, uint64_t count) {
    controller *c = self;
    (void)transfer; /* the next request is its */
    uint64_t *copy = malloc(count ? count * sizeof *copy : 1);
    if (!copy)
        return fail(c, "no memory for %llu words", (unsigned long long)count);
    if (count)
        memcpy(copy, words, count * sizeof *copy);
    free(c->writer.offered);
    c->writer.offered = copy;
    c->writer.offered_count = count;
    return TP_OK;
}

static int32_t run(void *self, const tp_event *events, uint64_t count) {
    controller *c = self;
    for (uint64_t i = 0; i < count; i++)
        host_event(c, &events[i]);
    return c->out_of_memory ? fail(c, "no memory for what the host sees") : TP_OK;
}

static int32_t drain(void *self, tp_item *items, uint64_t capacity, uint64_t *count) {
    controller *c = self;
    uint64_t left = c->item_count - c->items_given;
    *count = left < capacity ? left : capacity;
    if (*count > 0)
        memcpy(items, c->items + c->items_given, *count * sizeof *items);
    c->items_given += *count;
    return *count < left ? TP_MORE : TP_OK;
}

static int32_t show(void *self, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t byte_count) {
    controller *c = self;
    const track *t = drives_track(c, drive, cylinder, side);
    if (!t)
        return fail(c, "nothing is recorded on drive %u, cylinder %u, side %u", drive, cylinder,
                    side);
    const uint8_t *from = t->sectors ? t->sectors : t->bits;
    size_t size = t->sectors ? t->sector_bytes : ((size_t)t->turn_bits + 7) / 8;
    if (byte_count != size)
        return fail(c, "%llu bytes asked for, the track has %zu", (unsigned long long)byte_count,
                    size);
    memcpy(bytes, from, size);
    return TP_OK;
}

static const char *last_error(void *self) {
    const controller *c = self;
    return c ? c->why : "out of memory, or an option that is no fault listed in faults.h";
}

static const tp_adapter table = {
    .struct_size = sizeof(tp_adapter),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "byte-stream: a polled byte controller in C",
    .create = create,
    .destroy = destroy,
    .capabilities = capabilities,
    .power_up = power_up,
    .run = run,
    .drain = drain,
    .last_error = last_error,
    .give = give,
    .show = show,
};

/* Visible even where everything else is hidden by the compiler's options. */
#if defined(__GNUC__)
__attribute__((visibility("default")))
#endif
const tp_adapter *tp_adapter_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
