/*
 * mine.c: a track encoder that has nothing yet: the data of sectors in, the stream of a track out.
 * What its function must do, and both layouts, stand in trackproof.h.
 */
#include "trackproof.h"

#include <stdlib.h>

struct encoder {
    uint8_t *track; /* the bytes of a turn, for a beginning */
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct encoder));
}

static void destroy(void *self)
{
    struct encoder *e = self;
    free(e->track);
    free(e);
}

static const tp_track_encoder table = {
    .struct_size = sizeof(tp_track_encoder), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "mine", .create = create, .destroy = destroy,
    /* Not there: .last_error. */

    /* Makes the stream of one turn. Write it, and put it in the place of NULL.
       int32_t encode(void *self, const tp_track *track, const tp_form *form, uint8_t *stream,
                      uint32_t turn_bits);
       @encode@ */
    .encode = NULL,
};

const tp_track_encoder *tp_track_encoder_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
