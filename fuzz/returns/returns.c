/* A library that returns what its options say, right or wrong: the fuzz target library_returns
 * chooses them. It keeps to the memory that it is lent, for what goes beyond that is no return.
 *
 * The options are bytes in hex, taken one after the other; zeros once they have run out. */
#include "trackproof.h"
#include <stdlib.h>
#include <string.h>

struct returns {
    uint8_t *bytes;
    size_t count, at;
    uint64_t first_ns, last_ns; /* of the events given last */
};

static uint8_t next(struct returns *r) {
    return r->at < r->count ? r->bytes[r->at++] : 0;
}

static uint64_t number(struct returns *r, unsigned bytes) {
    uint64_t value = 0;
    while (bytes-- > 0)
        value = value << 8 | next(r);
    return value;
}

/* Mostly done; else more, not done, or a code that there is not. */
static int32_t code(struct returns *r) {
    uint8_t byte = next(r);
    if (byte < 0xc0)
        return TP_OK;
    return byte < 0xd8 ? TP_MORE : byte < 0xf0 ? TP_FAIL : (int32_t)number(r, 4);
}

static int nibble(char c) {
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

static void *create(const char *options) {
    size_t digits = options ? strlen(options) : 0;
    struct returns *r = calloc(1, sizeof *r);
    if (!r)
        return NULL;
    r->bytes = malloc(digits / 2 + 1);
    if (!r->bytes) {
        free(r);
        return NULL;
    }
    for (size_t i = 0; i + 1 < digits; i += 2)
        r->bytes[r->count++] = (uint8_t)(nibble(options[i]) << 4 | nibble(options[i + 1]));
    return r;
}

static void destroy(void *self) {
    struct returns *r = self;
    free(r->bytes);
    free(r);
}

static uint64_t capabilities(void *self) {
    uint8_t byte = next(self);
    return byte < 0xc0 ? ~(uint64_t)0 : number(self, 8);
}

static int32_t profile(void *self, int64_t *values, uint32_t count) {
    uint8_t changes = next(self);
    if (changes < 0x80)
        return TP_FAIL; /* it declares none */
    for (; changes > 0x80 && count > 0; changes--) {
        uint8_t key = next(self);
        values[key % count] = (int64_t)number(self, key & 0x80 ? 8 : 1);
    }
    return code(self);
}

static int32_t power_up(void *self, const tp_setup *setup) {
    struct returns *r = self;
    (void)setup;
    r->first_ns = r->last_ns = 0;
    return code(r);
}

static int32_t run(void *self, const tp_event *events, uint64_t count) {
    struct returns *r = self;
    if (count > 0) {
        r->first_ns = events[0].at_ns;
        r->last_ns = events[count - 1].at_ns;
    }
    return code(r);
}

static void choose(struct returns *r, tp_item *item) {
    uint8_t how = next(r);
    memset(item, 0, sizeof *item);
    switch (how & 3) {
    case 0: item->at_ns = r->last_ns; break;
    case 1: item->at_ns = r->first_ns + number(r, 2); break;
    case 2: item->at_ns = r->first_ns; break;
    case 3: item->at_ns = number(r, 8); break;
    }
    item->kind = how & 4 ? next(r) : next(r) % 6;
    item->transfer = how & 8 ? (uint32_t)number(r, 4) : 0;
    item->flag = how & 16 ? (uint32_t)number(r, 4) : 0;
    item->reserved = how & 32 ? next(r) : 0;
    item->value = number(r, how & 64 ? 8 : 2);
}

static int32_t drain(void *self, tp_item *items, uint64_t capacity, uint64_t *count) {
    struct returns *r = self;
    uint8_t byte = next(r);
    if (byte != 0xff) /* it may forget to set it */
        *count = byte < 0xfc ? byte : number(r, 8);
    for (uint64_t i = 0; i < byte && i < capacity; i++)
        choose(r, &items[i]);
    return code(r);
}

static const char *last_error(void *self) {
    return self ? "as was\n\x1b[31m asked \xff for" : NULL;
}

static int32_t give(void *self, uint32_t transfer, const uint64_t *words, uint64_t count) {
    (void)transfer, (void)words, (void)count;
    return code(self);
}

static int32_t show(void *self, uint32_t drive, uint32_t cylinder, uint32_t side, uint8_t *bytes,
                    uint64_t count) {
    (void)drive, (void)cylinder, (void)side;
    for (uint8_t changes = next(self) & 3; changes > 0 && count > 0; changes--)
        bytes[number(self, 2) % count] = next(self);
    return code(self);
}

static const tp_adapter table = {
    .struct_size = sizeof(tp_adapter), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "returns", .create = create, .destroy = destroy, .capabilities = capabilities,
    .profile = profile, .power_up = power_up, .run = run, .drain = drain,
    .last_error = last_error, .give = give, .show = show,
};

const tp_adapter *tp_adapter_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
