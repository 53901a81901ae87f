/*
 * word_reader.c: a correct word reader in plain C, to be copied. It has every function of
 * tp_word_reader but match_signal, and the profile sync-dma: R = W = 16, a FIFO of three words.
 *
 * Build: cc -std=c11 -O2 -fPIC -shared -I../../c-abi/include word_reader.c -o word_reader.so
 */
#include "trackproof.h"

#include <stdlib.h>
#include <string.h>

enum { REGISTER_BITS = 16, WORD_BITS = 16, BYTE_BITS = 8, FIFO_WORDS = 3 };

enum state { IDLE, AWAITS_MATCH, AWAITS_INDEX, RUNS };

struct reader {
    uint16_t shift_register, sync_word;
    unsigned invalid_for; /* channel bits until the register holds those of one source */
    unsigned counted;     /* channel bits since the last word boundary */
    int hardware_sync;

    enum state state;
    uint32_t transfer;
    uint32_t to_complete; /* words that the FIFO is still to take in */
    uint32_t to_take;     /* words that the host is still to take */
    uint16_t fifo[FIFO_WORDS];
    unsigned waiting;

    uint8_t byte;
    int fresh;

    int lost, done, signalled; /* signalled: done, and not asked for since */
};

static void forget(struct reader *r) /* as at power-up, but for the register */
{
    struct reader new = {.sync_word = 0x4489};
    new.shift_register = r->shift_register;
    new.invalid_for = r->invalid_for;
    new.byte = r->byte;
    *r = new;
}

static void *create(const char *options)
{
    (void)options;
    struct reader *r = calloc(1, sizeof *r);
    if (r)
        forget(r);
    return r;
}

static void destroy(void *self) { free(self); }

static int32_t profile(void *self, int64_t *values, uint32_t count)
{
    (void)self, (void)values, (void)count;
    return TP_OK; /* they come as those of sync-dma */
}

static int matches(const struct reader *r)
{
    return r->hardware_sync && r->invalid_for == 0 && r->shift_register == r->sync_word;
}

static void complete(struct reader *r) /* a word of the running read has come */
{
    if (r->to_complete == 0)
        return; /* those behind the last one are not the read's */
    if (r->waiting == FIFO_WORDS) {
        r->lost = 1; /* overrun = lose-new; it does not count */
        return;
    }
    r->fifo[r->waiting++] = r->shift_register;
    r->to_complete--;
}

static int32_t shift_in(void *self, uint32_t bit, uint64_t *word)
{
    struct reader *r = self;
    (void)word; /* words leave by service() */
    r->shift_register = (uint16_t)(r->shift_register << 1 | bit);
    if (r->invalid_for > 0)
        r->invalid_for--;
    r->counted++;

    if (r->counted % BYTE_BITS == 0) { /* byte = channel-8 */
        r->byte = (uint8_t)r->shift_register;
        r->fresh = 1;
    }
    if (r->counted == WORD_BITS) {
        r->counted = 0;
        if (r->state == RUNS)
            complete(r); /* aligned_match = word: also if it matches */
    }
    if (matches(r)) {
        r->counted = 0; /* misaligned_match = realign-drop, partial = drop */
        if (r->state == AWAITS_MATCH)
            r->state = RUNS; /* start_match = drop */
    }
    return TP_OK;
}

static void finish(struct reader *r)
{
    r->state = IDLE;
    r->done = r->signalled = 1;
}

static int32_t request(void *self, uint32_t transfer, uint32_t words, uint32_t start)
{
    struct reader *r = self;
    if (r->state != IDLE)
        return TP_OK; /* start_busy = ignore */
    r->done = 0;
    r->transfer = transfer;
    r->to_complete = r->to_take = words;
    r->waiting = 0;
    switch (start) {
    case TP_START_MATCH: r->state = AWAITS_MATCH; break;
    case TP_START_INDEX: r->state = AWAITS_INDEX; break;
    default: r->state = RUNS; break; /* counter = free-running: nothing else happens */
    }
    if (words == 0)
        finish(r); /* zero_words = none */
    return TP_OK;
}

static int32_t service(void *self, uint32_t transfer, uint64_t *word)
{
    struct reader *r = self;
    if (r->state != RUNS || transfer != r->transfer || r->waiting == 0)
        return TP_OK;
    *word = r->fifo[0];
    memmove(r->fifo, r->fifo + 1, --r->waiting * sizeof r->fifo[0]);
    if (--r->to_take == 0)
        finish(r); /* read_done = last-stored */
    return TP_YES;
}

static int32_t set_hardware_sync(void *self, uint32_t on)
{
    struct reader *r = self;
    if (r->hardware_sync && !on && r->state == AWAITS_MATCH)
        r->state = RUNS; /* sync_off_waiting = start */
    r->hardware_sync = on != 0;
    return TP_OK;
}

static int32_t source_changed(void *self)
{
    struct reader *r = self;
    r->invalid_for = REGISTER_BITS;
    return TP_OK;
}

static int32_t set_sync_word(void *self, uint64_t word)
{
    struct reader *r = self;
    r->sync_word = (uint16_t)word;
    return TP_OK;
}

static int32_t at_index(void *self)
{
    struct reader *r = self;
    if (r->state == AWAITS_INDEX)
        r->state = RUNS;
    return TP_OK;
}

static int32_t abort_read(void *self)
{
    struct reader *r = self;
    r->state = IDLE;
    r->waiting = 0;
    r->done = r->signalled = 0;
    return TP_OK;
}

static int32_t reset(void *self)
{
    forget(self);
    return TP_OK;
}

static int32_t poll_status(void *self, uint32_t *driven, uint32_t *set)
{
    struct reader *r = self;
    *driven = TP_STATUS_DONE | TP_STATUS_BUSY | TP_STATUS_ERROR | TP_STATUS_MATCH;
    *set = (r->done ? TP_STATUS_DONE : 0) | (r->state != IDLE ? TP_STATUS_BUSY : 0)
        | (r->lost ? TP_STATUS_ERROR : 0)      /* error_flag = sticky */
        | (matches(r) ? TP_STATUS_MATCH : 0);  /* flag = level */
    return TP_OK;
}

static int32_t poll_byte(void *self, uint32_t *value, uint32_t *fresh)
{
    struct reader *r = self;
    *value = r->byte;
    *fresh = (uint32_t)r->fresh;
    r->fresh = 0;
    return TP_OK;
}

static int32_t done_signal(void *self)
{
    struct reader *r = self;
    int came = r->signalled;
    r->signalled = 0;
    return came ? TP_YES : TP_OK;
}

static const tp_word_reader table = {
    .struct_size = sizeof(tp_word_reader), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "word reader in C", .create = create, .destroy = destroy, .profile = profile,
    .shift_in = shift_in, .request = request, .service = service,
    .set_hardware_sync = set_hardware_sync, .source_changed = source_changed,
    .set_sync_word = set_sync_word, .index = at_index, .abort = abort_read, .reset = reset,
    .poll_status = poll_status, .poll_byte = poll_byte, .done_signal = done_signal,
};

const tp_word_reader *tp_word_reader_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
