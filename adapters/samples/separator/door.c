/* The door: the table of functions that trackproof calls. */
#include "separator.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int32_t fail(separator *s, const char *text)
{
    snprintf(s->why, sizeof s->why, "%s", text);
    return TP_FAIL;
}

/* Marks the faults named in `options`, separated by commas; false if one does not exist. */
static bool choose_faults(separator *s, const char *options)
{
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
        s->faults[found] = true;
        options += length;
        options += *options == ',';
    }
    return true;
}

static void destroy(void *self)
{
    separator *s = self;
    free(s->waiting.bits);
    free(s);
}

static void *create(const char *options)
{
    separator *s = calloc(1, sizeof *s);
    if (s && options && !choose_faults(s, options)) {
        destroy(s);
        return NULL;
    }
    return s;
}

static const char *last_error(void *self)
{
    const separator *s = self;
#define FAULT_LISTED(constant, name) " " name
    return s ? s->why
             : "out of memory, or an option that is none of these faults:" FAULTS(FAULT_LISTED);
#undef FAULT_LISTED
}

static int64_t value(const tp_profile *profile, uint32_t key, int64_t otherwise)
{
    return profile && profile->values && key < profile->count ? profile->values[key] : otherwise;
}

static int32_t power_up(void *self, const tp_profile *profile)
{
    separator *s = self;
    int64_t recording = value(profile, TP_KEY_RECORDING, MFM);
    int64_t bit_ns = value(profile, TP_KEY_CHANNEL_BIT_NS, 2000);
    s->powered = false;
    if (recording != FM && recording != MFM)
        return fail(s, "recording is neither fm nor mfm");
    if (bit_ns < SHORTEST_BIT_NS || bit_ns > LONGEST_BIT_NS) {
        snprintf(s->why, sizeof s->why, "channel_bit_ns is %" PRId64 ", it must be from %d to %d",
                 bit_ns, SHORTEST_BIT_NS, LONGEST_BIT_NS);
        return TP_FAIL;
    }
    s->waiting.first = s->waiting.count = 0;
    s->waiting.overflow = false;
    loop_power_up(s, recording, (uint64_t)bit_ns);
    s->powered = true;
    return TP_OK;
}

static int32_t advance(void *self, uint64_t until_ns, const uint64_t *transitions_ns,
                       uint32_t count, uint8_t *bits, uint32_t capacity, uint32_t *bit_count)
{
    separator *s = self;
    *bit_count = 0;
    if (!s->powered)
        return fail(s, "power is off");
    s->slices += count > 0;
    if (fault(s, BIT_LOST_AT_SLICE) && count > 0 && s->slices % 50 == 0)
        count--;
    for (uint32_t i = 0; i < count; i++)
        loop_transition(s, transitions_ns[i]);
    loop_pass(s, until_ns);
    if (s->waiting.overflow)
        return fail(s, "more channel bits wait than can be kept");
    *bit_count = bits_take(&s->waiting, bits, capacity);
    return s->waiting.count > 0 ? TP_MORE : TP_OK;
}

static const tp_data_separator table = {
    .struct_size = sizeof(tp_data_separator),
    .abi_major = TP_ABI_MAJOR,
    .abi_minor = TP_ABI_MINOR,
    .name = "data separator in C",
    .create = create,
    .destroy = destroy,
    .last_error = last_error,
    .power_up = power_up,
    .advance = advance,
};

/* Visible even where everything else is hidden by the compiler's options. */
#if defined(__GNUC__)
__attribute__((visibility("default")))
#endif
const tp_data_separator *tp_data_separator_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
