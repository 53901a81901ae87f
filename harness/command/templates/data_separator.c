/*
 * mine.c: a data separator that has nothing yet: flux transitions in, channel bits out. What its
 * functions must do, and what it is held to, stands in trackproof.h.
 */
#include "trackproof.h"

#include <stdlib.h>

struct separator {
    uint64_t last_ns; /* the transition before, for a beginning */
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct separator));
}

static void destroy(void *self)
{
    free(self);
}

static const tp_data_separator table = {
    .struct_size = sizeof(tp_data_separator), .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR, .name = "mine", .create = create, .destroy = destroy,
    /* Not there: .last_error, .profile, .power_up. */

    /* Time has come so far, with these transitions: gives the channel bits that are known now.
       Write it, and put it in the place of NULL.
       int32_t advance(void *self, uint64_t until_ns, const uint64_t *transitions_ns,
                       uint32_t count, uint8_t *bits, uint32_t capacity, uint32_t *bit_count);
       @advance@ */
    .advance = NULL,
};

const tp_data_separator *tp_data_separator_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
