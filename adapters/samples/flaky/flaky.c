/*
 * flaky.c: the controller of sync_dma, right in two runs of three and with the fault `done-twice`
 * in the third. Which run it is hangs on a clock, as it does where a race or noise is at work: no
 * run tells of the next. No template: a subject for trackproof's tests.
 *
 *     cc -std=c11 -O2 -fPIC -shared -fvisibility=hidden -I../../c-abi/include
 *        -Dtp_adapter_entry=sync_dma_entry flaky.c ../sync_dma/[a-z]*.c -o flaky.so
 */
#include "trackproof.h"

/* So far the name stood for the entry of the controller inside; from here on it is this one's. */
#undef tp_adapter_entry
const tp_adapter *tp_adapter_entry(uint32_t abi_major);

#include <stdlib.h>
#include <time.h>

#if defined(_WIN32)
#define EXPORTED __declspec(dllexport)
#else
#define EXPORTED __attribute__((visibility("default")))
#endif

typedef struct shell {
    void *right, *wrong;
    void *now;       /* the one of both that lives through the case */
    uint64_t chance; /* xorshift's state, never 0 */
} shell;

static const tp_adapter *inner(void)
{
    return sync_dma_entry(TP_ABI_MAJOR);
}

static void destroy(void *opaque)
{
    shell *self = opaque;
    if (self == NULL) return;
    if (self->right != NULL) inner()->destroy(self->right);
    if (self->wrong != NULL) inner()->destroy(self->wrong);
    free(self);
}

static void *create(const char *options)
{
    shell *self = calloc(1, sizeof *self);
    if (self == NULL) return NULL;
    struct timespec now = {0};
    timespec_get(&now, TIME_UTC);
    self->chance = ((uint64_t)now.tv_sec << 32 ^ (uint64_t)now.tv_nsec) * 0x9e3779b97f4a7c15 | 1;
    self->right = inner()->create(NULL);
    self->wrong = inner()->create("done-twice");
    self->now = self->right;
    if (options == NULL && self->right != NULL && self->wrong != NULL) return self;
    destroy(self);
    return NULL;
}

static uint64_t capabilities(void *opaque)
{
    shell *self = opaque;
    return inner()->capabilities(self->now);
}

static int32_t power_up(void *opaque, const tp_setup *setup)
{
    shell *self = opaque;
    self->chance ^= self->chance << 13;
    self->chance ^= self->chance >> 7;
    self->chance ^= self->chance << 17;
    self->now = (self->chance >> 32) % 3 == 0 ? self->wrong : self->right;
    return inner()->power_up(self->now, setup);
}

static int32_t run(void *opaque, const tp_event *events, uint64_t count)
{
    shell *self = opaque;
    return inner()->run(self->now, events, count);
}

static int32_t drain(void *opaque, tp_item *items, uint64_t capacity, uint64_t *count)
{
    shell *self = opaque;
    return inner()->drain(self->now, items, capacity, count);
}

static const char *last_error(void *opaque)
{
    shell *self = opaque;
    return self == NULL ? "create: out of memory, or an option; it has none"
                        : inner()->last_error(self->now);
}

static int32_t give(void *opaque, uint32_t number, const uint64_t *words, uint64_t count)
{
    shell *self = opaque;
    return inner()->give(self->now, number, words, count);
}

static int32_t show(void *opaque, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t byte_count)
{
    shell *self = opaque;
    return inner()->show(self->now, drive, cylinder, side, bytes, byte_count);
}

static const tp_adapter adapter = {
    .struct_size = sizeof(tp_adapter),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "sample controller flaky",
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
