/*
 * mine.c: a word reader that has nothing yet: channel bits in, words out. What a function must do
 * stands in trackproof.h.
 *
 * Write them one by one, and put each in the place of its NULL in the table below. A NULL is a
 * capability that is missing: cases that need it are skipped and counted, and no rule that needs it
 * is held against the reader.
 */
#include "trackproof.h"

#include <stdlib.h>

struct reader {
    int64_t word_bits; /* W, for a beginning */
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct reader));
}

static void destroy(void *self) { free(self); }

/* Power comes on; every case begins with a new reader and this. */
static int32_t power_up(void *self, const tp_profile *profile)
{
    struct reader *r = self;
    r->word_bits = profile->values[TP_KEY_WORD_BITS];
    return TP_OK;
}

static const tp_word_reader table = {
    .struct_size = sizeof(tp_word_reader), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "mine", .create = create, .destroy = destroy, .power_up = power_up,
    /* Not there: .last_error, .profile (if it cannot take any). */

    /* A channel bit ends; hand out the word that completes with it. Once request is there, words
       leave by service alone.
       int32_t shift_in(void *self, uint32_t bit, uint64_t *word);
       @shift_in@ */
    .shift_in = NULL,

    /* The host asks for a read; count its words and keep them in a FIFO. Goes with service.
       int32_t request(void *self, uint32_t transfer, uint32_t words, uint32_t start);
       @request@ */
    .request = NULL,

    /* The host takes a word, if one waits. Goes with request.
       int32_t service(void *self, uint32_t transfer, uint64_t *word);
       @service@ */
    .service = NULL,

    /* Hardware sync goes on or off. Goes with request and source_changed.
       int32_t set_hardware_sync(void *self, uint32_t on);
       @set_hardware_sync@ */
    .set_hardware_sync = NULL,

    /* The bits come from elsewhere from now on: the register is invalid for R bits.
       int32_t source_changed(void *self);
       @source_changed@ */
    .source_changed = NULL,

    /* The sync word changes.
       int32_t set_sync_word(void *self, uint64_t word);
       @set_sync_word@ */
    .set_sync_word = NULL,

    /* The index passes: reads that start there.
       int32_t index(void *self);
       @index@ */
    .index = NULL,

    /* The transfer ends at once.
       int32_t abort(void *self);
       @abort@ */
    .abort = NULL,

    /* The controller is reset.
       int32_t reset(void *self);
       @reset@ */
    .reset = NULL,

    /* The host reads the status.
       int32_t poll_status(void *self, uint32_t *driven, uint32_t *set);
       @poll_status@ */
    .poll_status = NULL,

    /* The host reads the newest byte with its flag.
       int32_t poll_byte(void *self, uint32_t *value, uint32_t *fresh);
       @poll_byte@ */
    .poll_byte = NULL,

    /* Whether the completion signal came since this was asked last.
       int32_t done_signal(void *self);
       @done_signal@ */
    .done_signal = NULL,

    /* Whether a match was signalled since this was asked last; for profiles with flag = event.
       int32_t match_signal(void *self);
       @match_signal@ */
    .match_signal = NULL,
};

const tp_word_reader *tp_word_reader_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
