/*
 * hostile.c: the controller of sync_dma in a shell that does, where it is asked to, what ends a
 * process or never comes back. No template: a subject for trackproof's tests of its isolation.
 *
 * Each fault has an event that sets it off, so that a smallest case has something to find, but for
 * the one that counts cases. The option is one fault's name or several with commas between, as in
 * faults.toml.
 *
 *     cc -std=c11 -O2 -fPIC -shared -fvisibility=hidden -I../../c-abi/include
 *        -Dtp_adapter_entry=sync_dma_entry hostile.c ../sync_dma/[a-z]*.c -o hostile.so
 */
#include "trackproof.h"

/* So far the name stood for the entry of the controller inside; from here on it is this one's. */
#undef tp_adapter_entry
const tp_adapter *tp_adapter_entry(uint32_t abi_major);

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#if defined(_WIN32)
#define EXPORTED __declspec(dllexport)
#else
#define EXPORTED __attribute__((visibility("default")))
#endif

enum fault { NULL_POINTER, ABORTS, OVERFLOWS_STACK, LOOPS, LOOPS_LATER, SCRIBBLES, EXITS, FAULTS };

static const char *const fault_names[FAULTS] = {
    [NULL_POINTER] = "null-pointer",     [ABORTS] = "aborts",
    [OVERFLOWS_STACK] = "overflows-stack", [LOOPS] = "loops-for-ever",
    [LOOPS_LATER] = "loops-in-thousandth-case", [SCRIBBLES] = "scribbles-over-heap",
    [EXITS] = "exits",
};

enum { LATER = 1000, BLOCK = 2000, SCRIBBLED = 1 << 16 };

typedef struct shell {
    void *inside;
    unsigned faults;
    unsigned cases; /* since it was made */
} shell;

/* What a compiler cannot look through. */
static int *volatile nowhere;
static volatile int sink;

static const tp_adapter *inner(void)
{
    return sync_dma_entry(TP_ABI_MAJOR);
}

static bool take_options(shell *self, const char *options)
{
    for (const char *name = options; name != NULL; name++) {
        size_t length = strcspn(name, ",");
        int n = 0;
        while (n < FAULTS && (strlen(fault_names[n]) != length || memcmp(fault_names[n], name, length) != 0))
            n++;
        if (n == FAULTS) return false;
        self->faults |= 1u << n;
        name += length;
        if (*name == '\0') break;
    }
    return true;
}

static void destroy(void *opaque)
{
    shell *self = opaque;
    if (self == NULL) return;
    if (self->inside != NULL) inner()->destroy(self->inside);
    free(self);
}

static void *create(const char *options)
{
    shell *self = calloc(1, sizeof *self);
    if (self == NULL) return NULL;
    self->inside = inner()->create(NULL);
    if (self->inside != NULL && take_options(self, options)) return self;
    destroy(self);
    return NULL;
}

static bool has(const shell *self, enum fault fault)
{
    return self->faults >> fault & 1;
}

static void loop_for_ever(void)
{
    for (;;) sink++;
}

static int overflow_stack(int depth)
{
    volatile char page[4096];
    page[0] = (char)depth;
    if (depth == sink) return 0; /* never: it is negative */
    return overflow_stack(depth + 1) + page[0];
}

static void scribble(void)
{
    char *block = malloc(BLOCK);
    if (block == NULL) return;
    /* Whatever lies behind: the allocator's own book-keeping, other people's blocks. */
    for (volatile char *byte = block; byte < block + SCRIBBLED; byte++) *byte = 0x5a;
    free(block);
}

static void misbehave(const shell *self, const tp_event *event)
{
    if (has(self, NULL_POINTER) && event->kind == TP_READ && event->b == 0) sink = *nowhere;
    if (has(self, ABORTS) && event->kind == TP_RESET) abort();
    if (has(self, OVERFLOWS_STACK) && event->kind == TP_ABORT) {
        sink = -1;
        sink = overflow_stack(0);
    }
    if (has(self, LOOPS) && event->kind == TP_READ && event->b == 0) loop_for_ever();
    if (has(self, SCRIBBLES) && event->kind == TP_POLL_BYTE) scribble();
    if (has(self, EXITS) && event->kind == TP_RESET) exit(0);
}

static uint64_t capabilities(void *opaque)
{
    shell *self = opaque;
    return inner()->capabilities(self->inside);
}

static int32_t power_up(void *opaque, const tp_setup *setup)
{
    shell *self = opaque;
    self->cases++;
    if (has(self, LOOPS_LATER) && self->cases == LATER) loop_for_ever();
    return inner()->power_up(self->inside, setup);
}

static int32_t run(void *opaque, const tp_event *events, uint64_t count)
{
    shell *self = opaque;
    for (uint64_t n = 0; n < count; n++) misbehave(self, &events[n]);
    return inner()->run(self->inside, events, count);
}

static int32_t drain(void *opaque, tp_item *items, uint64_t capacity, uint64_t *count)
{
    shell *self = opaque;
    return inner()->drain(self->inside, items, capacity, count);
}

static const char *last_error(void *opaque)
{
    shell *self = opaque;
    if (self == NULL) return "create: out of memory, or an unknown fault among the options";
    return inner()->last_error(self->inside);
}

static int32_t give(void *opaque, uint32_t number, const uint64_t *words, uint64_t count)
{
    shell *self = opaque;
    return inner()->give(self->inside, number, words, count);
}

static int32_t show(void *opaque, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t byte_count)
{
    shell *self = opaque;
    return inner()->show(self->inside, drive, cylinder, side, bytes, byte_count);
}

static const tp_adapter adapter = {
    .struct_size = sizeof(tp_adapter),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "sample controller hostile",
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
