/*
 * track_writer.c: a correct track writer in plain C, to be copied. It has every function of
 * tp_track_writer, and the profile sync-dma: words of 16 channel bits that are written as they are,
 * a FIFO of three words, zeros where none waits.
 *
 * Build: cc -std=c11 -O2 -fPIC -shared -I../../c-abi/include track_writer.c -o track_writer.so
 */
#include "trackproof.h"

#include <stdlib.h>
#include <string.h>

enum { WORD_BITS = 16, FIFO_WORDS = 3 };

enum state { IDLE, AWAITS_WORD, AWAITS_INDEX, WRITES };

struct writer {
    enum state state;
    uint32_t transfer;
    uint32_t to_fetch; /* words that are still to be offered */
    uint16_t fifo[FIFO_WORDS];
    unsigned waiting;
    uint16_t word;     /* in the serialiser */
    unsigned bits;     /* of it that are still to be written */
    int signalled;     /* done, and not asked for since */
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct writer));
}

static void destroy(void *self) { free(self); }

static int32_t profile(void *self, int64_t *values, uint32_t count)
{
    (void)self, (void)values, (void)count;
    return TP_OK; /* they come as those of sync-dma */
}

static int32_t write_track(void *self, uint32_t transfer, uint32_t words, uint32_t start,
                           uint32_t write_protected)
{
    struct writer *w = self;
    (void)write_protected; /* checks_protect = no: the drive looks after it */
    if (words == 0) {
        w->signalled = 1;
        return TP_OK;
    }
    w->state = start == TP_START_INDEX ? AWAITS_INDEX : AWAITS_WORD;
    w->transfer = transfer;
    w->to_fetch = words;
    return TP_OK;
}

static int32_t offer(void *self, uint32_t transfer, uint64_t word)
{
    struct writer *w = self;
    if (w->state == IDLE || transfer != w->transfer || w->to_fetch == 0
        || w->waiting == FIFO_WORDS)
        return TP_OK;
    w->fifo[w->waiting++] = (uint16_t)word;
    w->to_fetch--;
    return TP_YES;
}

static int32_t at_index(void *self)
{
    struct writer *w = self;
    if (w->state == AWAITS_INDEX && w->waiting > 0)
        w->state = WRITES; /* without a word it is missed */
    return TP_OK;
}

static int32_t begin_cell(void *self, uint32_t *bit)
{
    struct writer *w = self;
    if (w->state == AWAITS_WORD && w->waiting > 0)
        w->state = WRITES; /* gate_lead = 0 */
    if (w->state != WRITES)
        return TP_OK;
    if (w->bits == 0) {
        w->bits = WORD_BITS;
        w->word = 0; /* underrun = zeros */
        if (w->waiting > 0) {
            w->word = w->fifo[0];
            memmove(w->fifo, w->fifo + 1, --w->waiting * sizeof w->fifo[0]);
        }
    }
    *bit = w->word >> --w->bits & 1;
    return TP_YES;
}

static int32_t end_cell(void *self)
{
    struct writer *w = self;
    if (w->state == WRITES && w->bits == 0 && w->waiting == 0 && w->to_fetch == 0) {
        w->state = IDLE;
        w->signalled = 1; /* write_done = gate-off, gate_off_min = 0 */
    }
    return TP_OK;
}

static int32_t is_busy(void *self)
{
    struct writer *w = self;
    return w->state != IDLE ? TP_YES : TP_OK;
}

static int32_t abort_write(void *self)
{
    struct writer *w = self;
    memset(w, 0, sizeof *w);
    return TP_OK;
}

static int32_t done_signal(void *self)
{
    struct writer *w = self;
    int came = w->signalled;
    w->signalled = 0;
    return came ? TP_YES : TP_OK;
}

static const tp_track_writer table = {
    .struct_size = sizeof(tp_track_writer), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "track writer in C", .create = create, .destroy = destroy, .profile = profile,
    .write = write_track, .offer = offer, .begin_cell = begin_cell, .is_busy = is_busy,
    .end_cell = end_cell, .index = at_index, .abort = abort_write, .reset = abort_write,
    .done_signal = done_signal,
};

const tp_track_writer *tp_track_writer_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
