/*
 * adapter.c: the table of functions of trackproof.h. With the parts beside it this is a sample
 * floppy controller that finds the sync word in hardware and moves words by bus mastering, with up
 * to four drives.
 *
 * A template to copy, and a subject for trackproof's own tests: it takes its profile when power
 * comes on, and create() can be asked for faults by name (faults.h). Without them the controller is
 * meant to be right.
 *
 * Its truth is the header trackproof.h and the keys' meanings in
 * adapters/contract/profiles/sync-dma.toml. It lives through time one channel bit at a time. At one
 * moment the bit that ends there comes first, then the services of the running transfer, then the
 * requests that are accepted there, then the other events; then index and serialiser, before the
 * next cell begins.
 *
 *     cc -std=c11 -O2 -fPIC -shared -fvisibility=hidden -I../../c-abi/include *.c -o sync_dma.so
 */
#include "controller.h"

#include <stdlib.h>

#if defined(_WIN32)
#define EXPORTED __declspec(dllexport)
#else
#define EXPORTED __attribute__((visibility("default")))
#endif

#define FAULT_NAME(id, name) name,

static const char *const fault_names[FAULT_COUNT] = {FAULTS(FAULT_NAME)};

static const char cannot_create[] =
    "create: out of memory, or an unknown fault among the options: a comma-separated list of names "
    "from faults.toml";

/* Switches on the fault of this name. False when there is none. */
static bool add_fault(controller *self, const char *name, size_t length)
{
    for (int n = 0; n < FAULT_COUNT; n++) {
        if (strlen(fault_names[n]) != length || memcmp(fault_names[n], name, length) != 0) continue;
        self->faults |= UINT64_C(1) << n;
        return true;
    }
    return false;
}

static bool take_options(controller *self, const char *options)
{
    if (options == NULL || *options == '\0') return true;
    for (const char *name = options;; name++) {
        size_t length = strcspn(name, ",");
        if (!add_fault(self, name, length)) return false;
        name += length;
        if (*name == '\0') return true;
    }
}

static void destroy(void *opaque)
{
    controller *self = opaque;
    if (self == NULL) return;
    free(self->items.list);
    free(self->requests);
    free(self->recorded);
    free(self->given);
    free(self->gifts);
    free(self->stale);
    free(self);
}

static void *create(const char *options)
{
    controller *self = calloc(1, sizeof *self);
    if (self == NULL || take_options(self, options)) return self;
    destroy(self);
    return NULL;
}

static uint64_t capabilities(void *opaque)
{
    (void)opaque;
    return low_bits(TP_CAN_COUNT);
}

static int32_t power_up(void *opaque, const tp_setup *setup)
{
    controller *self = opaque;
    self->powered = false;
    int32_t code = begin_case(self, setup);
    self->powered = code == TP_OK;
    return code;
}

/* The words are kept until no write is left that has some. */
static int32_t give(void *opaque, uint32_t number, const uint64_t *words, uint64_t count)
{
    controller *self = opaque;
    const char *where = "give";
    if (!self->powered) return fail(self, "power_up() must succeed first", where, 0);
    if (count > 0 && words == NULL) return fail(self, "words are missing", where, (int64_t)count);
    if (count > SIZE_MAX / 2 / sizeof *self->given)
        return fail(self, "too many words", where, (int64_t)count);
    if (!busy(self) && self->request_count == 0 && self->gift_count == 0) self->given_count = 0;
    void *given = self->given, *gifts = self->gifts;
    bool fits = make_room(&given, &self->given_room, self->given_count + (size_t)count,
                          sizeof *self->given);
    self->given = given;
    fits = fits && make_room(&gifts, &self->gift_room, self->gift_count + 1, sizeof *self->gifts);
    self->gifts = gifts;
    if (!fits) return fail(self, "out of memory; words", where, (int64_t)count);
    self->gifts[self->gift_count++] =
        (gift){.number = number, .first = self->given_count, .count = (size_t)count};
    for (uint64_t n = 0; n < count; n++)
        self->given[self->given_count++] = (uint32_t)(words[n] & self->word_mask);
    return TP_OK;
}

static int32_t run(void *opaque, const tp_event *events, uint64_t count)
{
    controller *self = opaque;
    if (!self->powered) return fail(self, "power_up() must succeed first", "run", 0);
    if (count > 0 && events == NULL) return fail(self, "events are missing", "run", 0);
    for (uint64_t n = 0; n < count; n++)
        if (live_through(self, &events[n]) != TP_OK) return TP_FAIL;
    return TP_OK;
}

static int32_t drain(void *opaque, tp_item *items, uint64_t capacity, uint64_t *count)
{
    controller *self = opaque;
    item_buffer *kept = &self->items;
    size_t left = kept->count - kept->given;
    size_t moved = capacity < left ? (size_t)capacity : left;
    if (moved > 0) memcpy(items, kept->list + kept->given, moved * sizeof *items);
    kept->given += moved;
    *count = moved;
    if (moved < left) return TP_MORE;
    kept->count = kept->given = 0;
    return TP_OK;
}

static int32_t show(void *opaque, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t byte_count)
{
    controller *self = opaque;
    const char *where = "show";
    if (!self->powered) return fail(self, "power_up() must succeed first", where, 0);
    if (drive >= self->drive_count) return fail(self, "no such drive", where, drive);
    if (cylinder >= CYLINDERS) return fail(self, "cylinder must be 0 to 83", where, cylinder);
    if (side >= SIDES) return fail(self, "side must be 0 or 1", where, side);
    const track *t = &self->tracks[drive][cylinder][side];
    if (t->cells == NULL) return fail(self, "this cylinder is not recorded", where, cylinder);
    bool is_image = t->sectors != NULL;
    size_t size = is_image ? (size_t)t->form.sectors * t->form.sector_bytes
                           : ((size_t)t->cell_count + 7) / 8;
    if (bytes == NULL || byte_count != size)
        return fail(self, "byte_count must be the track's", where, (int64_t)byte_count);
    memcpy(bytes, is_image ? t->sectors : t->cells, size);
    return TP_OK;
}

static const char *last_error(void *opaque)
{
    const controller *self = opaque;
    if (self == NULL) return cannot_create;
    return self->error[0] != '\0' ? self->error : NULL;
}

static const tp_adapter adapter = {
    .struct_size = sizeof(tp_adapter),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "sample controller sync-dma",
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

EXPORTED const tp_adapter *tp_adapter_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &adapter : NULL;
}
