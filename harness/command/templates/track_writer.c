/*
 * mine.c: a track writer that has nothing yet: words in, channel bits with the gate out. What a
 * function must do stands in trackproof.h.
 *
 * Write them, and put each in the place of its NULL in the table below. The first four go together:
 * before they are there nothing is judged. Any other NULL is a capability that is missing: cases
 * that need it are skipped and counted, and no rule that needs it is held against the writer.
 */
#include "trackproof.h"

#include <stdlib.h>

struct writer {
    int64_t fifo_words; /* D, for a beginning */
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct writer));
}

static void destroy(void *self) { free(self); }

/* Power comes on; every case begins with a new writer and this. */
static int32_t power_up(void *self, const tp_profile *profile)
{
    struct writer *w = self;
    w->fifo_words = profile->values[TP_KEY_FIFO_WORDS];
    return TP_OK;
}

static const tp_track_writer table = {
    .struct_size = sizeof(tp_track_writer), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "mine", .create = create, .destroy = destroy, .power_up = power_up,
    /* Not there: .last_error, .profile (if it cannot take any). */

    /* A write is accepted.
       int32_t write(void *self, uint32_t transfer, uint32_t words, uint32_t start,
                     uint32_t write_protected);
       @write@ */
    .write = NULL,

    /* It is offered a word; TP_YES if it takes it.
       int32_t offer(void *self, uint32_t transfer, uint64_t word);
       @offer@ */
    .offer = NULL,

    /* A cell begins; TP_YES if the gate is open, with the cell's bit.
       int32_t begin_cell(void *self, uint32_t *bit);
       @begin_cell@ */
    .begin_cell = NULL,

    /* Whether a write waits or runs.
       int32_t is_busy(void *self);
       @is_busy@ */
    .is_busy = NULL,

    /* A cell ends: a write whose last owed bit was in it is over.
       int32_t end_cell(void *self); */
    .end_cell = NULL,

    /* The index passes: writes that start there.
       int32_t index(void *self);
       @index@ */
    .index = NULL,

    /* The write ends at once.
       int32_t abort(void *self);
       @abort@ */
    .abort = NULL,

    /* The controller is reset.
       int32_t reset(void *self);
       @reset@ */
    .reset = NULL,

    /* Whether the completion signal came since this was asked last.
       int32_t done_signal(void *self);
       @done_signal@ */
    .done_signal = NULL,
};

const tp_track_writer *tp_track_writer_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
