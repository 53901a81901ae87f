/*
 * The smallest parts that keep every rule of trackproof.h: a word reader that counts sixteen, a
 * writer that takes what it is offered and never opens its gate, an encoder of blank tracks.
 * Capital names can be defined from outside, to break one rule each.
 */
#include "trackproof.h"
#include <stddef.h>
#include <stdlib.h>

#ifndef MAJOR
#define MAJOR TP_ABI_MAJOR
#endif
#ifndef READER_BYTES
#define READER_BYTES sizeof(tp_word_reader)
#endif
#ifndef READER_RESULT
#define READER_RESULT &reader
#endif
#ifndef CREATE_FUNCTION
#define CREATE_FUNCTION create
#endif
#ifndef CREATE /* statements at a function's begin */
#define CREATE
#endif
#ifndef PROFILE
#define PROFILE return TP_FAIL;
#endif
#ifndef POWER_UP
#define POWER_UP
#endif
#ifndef SHIFT_IN
#define SHIFT_IN
#endif
#ifndef REQUEST
#define REQUEST
#endif
#ifndef SERVICE
#define SERVICE
#endif
#ifndef ABORT
#define ABORT
#endif
#ifndef POLL_STATUS
#define POLL_STATUS
#endif
#ifndef POLL_BYTE
#define POLL_BYTE
#endif
#ifndef DONE_SIGNAL
#define DONE_SIGNAL
#endif
#ifndef WRITE
#define WRITE
#endif
#ifndef OFFER
#define OFFER
#endif
#ifndef BEGIN_CELL
#define BEGIN_CELL
#endif
#ifndef END_CELL
#define END_CELL
#endif
#ifndef ENCODE
#define ENCODE
#endif

struct part {
    uint32_t bits, counted, word_bits;
};

static void *create(const char *options) {
    CREATE
    (void)options;
    return calloc(1, sizeof(struct part));
}

static void destroy(void *self) { free(self); }

static const char *last_error(void *self) {
    (void)self;
    return "not today";
}

static int32_t profile(void *self, int64_t *values, uint32_t count) {
    (void)self, (void)values, (void)count;
    PROFILE
}

static int32_t power_up(void *self, const tp_profile *given) {
    POWER_UP
    ((struct part *)self)->word_bits = (uint32_t)given->values[TP_KEY_WORD_BITS];
    return given->count >= TP_KEY_COUNT ? TP_OK : TP_FAIL;
}

static int32_t shift_in(void *self, uint32_t bit, uint64_t *word) {
    struct part *part = self;
    SHIFT_IN
    part->bits = part->bits << 1 | bit;
    part->counted = (part->counted + 1) % part->word_bits;
    if (part->counted != 0)
        return TP_OK;
    *word = part->bits & ((UINT64_C(1) << part->word_bits) - 1);
    return TP_YES;
}

static int32_t request(void *self, uint32_t transfer, uint32_t words, uint32_t start) {
    (void)self, (void)transfer, (void)words, (void)start;
    REQUEST
    return TP_OK;
}

static int32_t service(void *self, uint32_t transfer, uint64_t *word) {
    (void)self, (void)transfer, (void)word;
    SERVICE
    return TP_OK;
}

static int32_t abort_it(void *self) {
    (void)self;
    ABORT
    return TP_OK;
}

static int32_t set_hardware_sync(void *self, uint32_t on) {
    (void)self;
    return on <= 1 ? TP_OK : TP_FAIL;
}

static int32_t set_sync_word(void *self, uint64_t word) {
    (void)self;
    return word >> 16 == 0 ? TP_OK : TP_FAIL;
}

static int32_t poll_status(void *self, uint32_t *driven, uint32_t *set) {
    (void)self;
    *driven = TP_STATUS_DONE | TP_STATUS_MATCH;
    *set = TP_STATUS_MATCH;
    POLL_STATUS
    return TP_OK;
}

static int32_t poll_byte(void *self, uint32_t *value, uint32_t *fresh) {
    (void)self;
    *value = 255;
    *fresh = 1;
    POLL_BYTE
    return TP_OK;
}

static int32_t done_signal(void *self) {
    (void)self;
    DONE_SIGNAL
    return TP_OK;
}

static int32_t write_it(void *self, uint32_t transfer, uint32_t words, uint32_t start,
                        uint32_t write_protected) {
    (void)self, (void)transfer, (void)words, (void)start, (void)write_protected;
    WRITE
    return TP_OK;
}

static int32_t offer(void *self, uint32_t transfer, uint64_t word) {
    (void)self, (void)transfer, (void)word;
    OFFER
    return TP_YES;
}

static int32_t begin_cell(void *self, uint32_t *bit) {
    (void)self, (void)bit;
    BEGIN_CELL
    return TP_OK;
}

static int32_t end_cell(void *self) {
    (void)self;
    END_CELL
    return TP_OK;
}

static int32_t encode(void *self, const tp_track *track, const tp_form *form, uint8_t *stream,
                      uint32_t turn_bits) {
    (void)self;
    ENCODE
    /* Says back what it was given. */
    stream[0] = (uint8_t)track->cylinder;
    stream[1] = (uint8_t)(form->layout << 4 | track->side);
    stream[turn_bits / 8 - 1] = track->bytes[track->bit_count / 8 - 1];
    return form->form == TP_FORM_SECTORS ? TP_OK : TP_FAIL;
}

static const tp_word_reader reader = {
    .struct_size = READER_BYTES, .abi_major = MAJOR, .abi_minor = TP_ABI_MINOR, .name = "reader",
    .create = CREATE_FUNCTION, .destroy = destroy, .last_error = last_error, .profile = profile,
    .power_up = power_up, .shift_in = shift_in,
#ifdef WITH_TRANSFERS
    .request = request, .service = service,
#endif
    .set_hardware_sync = set_hardware_sync, .set_sync_word = set_sync_word, .abort = abort_it,
    .poll_status = poll_status, .poll_byte = poll_byte, .done_signal = done_signal,
};

static const tp_track_writer writer = {
    .struct_size = sizeof(tp_track_writer), .abi_major = MAJOR, .abi_minor = TP_ABI_MINOR,
    .create = create, .destroy = destroy, .last_error = last_error, .profile = profile,
    .write = write_it, .offer = offer, .begin_cell = begin_cell, .is_busy = done_signal,
    .end_cell = end_cell,
};

static const tp_track_encoder encoder = {
    .struct_size = sizeof(tp_track_encoder), .abi_major = MAJOR, .abi_minor = TP_ABI_MINOR,
    .create = create, .destroy = destroy, .last_error = last_error, .encode = encode,
};

#ifndef READER_ENTRY
#define READER_ENTRY tp_word_reader_entry
#endif
#ifndef WRITER_ENTRY
#define WRITER_ENTRY tp_track_writer_entry
#endif

const tp_word_reader *READER_ENTRY(uint32_t abi_major);
const tp_track_writer *WRITER_ENTRY(uint32_t abi_major);

const tp_word_reader *READER_ENTRY(uint32_t abi_major) {
    /* Named, so that a library which leaves one out has no unused function. */
    (void)reader, (void)create, (void)request, (void)service;
    return abi_major == TP_ABI_MAJOR ? READER_RESULT : NULL;
}

const tp_track_writer *WRITER_ENTRY(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &writer : NULL;
}

const tp_track_encoder *tp_track_encoder_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &encoder : NULL;
}

#ifndef ADVANCE
#define ADVANCE
#endif

static int32_t advance(void *self, uint64_t until_ns, const uint64_t *transitions_ns,
                       uint32_t count, uint8_t *bits, uint32_t capacity, uint32_t *bit_count) {
    (void)self, (void)until_ns, (void)capacity, (void)transitions_ns;
    ADVANCE
    /* A bit a transition, ones all of them, and a zero for none. */
    for (uint32_t at = 0; at < count; at++)
        bits[at / 8] |= (uint8_t)(0x80u >> at % 8);
    *bit_count = count > 0 ? count : 1;
    return TP_OK;
}

static const tp_data_separator separator = {
    .struct_size = sizeof(tp_data_separator), .abi_major = MAJOR, .abi_minor = TP_ABI_MINOR,
    .create = create, .destroy = destroy, .last_error = last_error, .profile = profile,
    .power_up = power_up, .advance = advance,
};

const tp_data_separator *tp_data_separator_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &separator : NULL;
}
