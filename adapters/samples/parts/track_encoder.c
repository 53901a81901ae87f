/*
 * track_encoder.c: a correct track encoder in plain C, to be copied. The track is put together as
 * bytes, with the marks told apart; then all of it is coded at once, over the index too.
 *
 * Build: cc -std=c11 -O2 -fPIC -shared -I../../c-abi/include track_encoder.c -o track_encoder.so
 */
#include "trackproof.h"

#include <stdlib.h>

/* A track that grows: a byte of data each, and the channel word of those that are marks, else 0. */
struct track {
    uint8_t *bytes;
    uint16_t *marks;
    uint32_t length, room;
};

static void *create(const char *options)
{
    (void)options;
    return calloc(1, sizeof(struct track));
}

static void destroy(void *self)
{
    struct track *t = self;
    free(t->bytes);
    free(t->marks);
    free(t);
}

static void put(struct track *t, uint8_t byte, uint16_t mark)
{
    if (t->length == t->room)
        return; /* the layout is no longer than the turn */
    t->bytes[t->length] = byte;
    t->marks[t->length++] = mark;
}

static void fill(struct track *t, uint8_t byte, uint32_t count)
{
    while (count-- > 0)
        put(t, byte, 0);
}

static void sync(struct track *t, uint32_t zeros, uint8_t byte, uint16_t channel_word)
{
    fill(t, 0x00, zeros);
    for (int i = 0; i < 3; i++)
        put(t, byte, channel_word);
}

static uint16_t checked(uint16_t check, uint8_t byte)
{
    check ^= (uint16_t)(byte << 8);
    for (int i = 0; i < 8; i++)
        check = (uint16_t)(check & 0x8000 ? check << 1 ^ 0x1021 : check << 1);
    return check;
}

static uint16_t after_marks(void)
{
    return checked(checked(checked(0xffff, 0xa1), 0xa1), 0xa1);
}

/* A soft-sector field: its identifying byte, its content, their check. */
static void field(struct track *t, uint8_t id, const uint8_t *bytes, uint32_t count)
{
    uint16_t check = checked(after_marks(), id);
    put(t, id, 0);
    for (uint32_t i = 0; i < count; i++) {
        check = checked(check, bytes[i]);
        put(t, bytes[i], 0);
    }
    put(t, (uint8_t)(check >> 8), 0);
    put(t, (uint8_t)check, 0);
}

/* All even bits of the bytes, packed, then all odd ones. */
static void split(struct track *t, const uint8_t *bytes, uint32_t count)
{
    for (int odd = 0; odd <= 1; odd++) {
        for (uint32_t i = 0; i < count; i += 2) {
            uint8_t packed = 0;
            for (uint32_t of = i; of < i + 2; of++)
                for (int bit = 6 + odd; bit >= 0; bit -= 2)
                    packed = (uint8_t)(packed << 1 | (bytes[of] >> bit & 1));
            put(t, packed, 0);
        }
    }
}

static void split_with_check(struct track *t, const uint8_t *bytes, uint32_t count)
{
    uint16_t check = after_marks();
    for (uint32_t i = 0; i < count; i++)
        check = checked(check, bytes[i]);
    split(t, bytes, count);
    split(t, (uint8_t[]){(uint8_t)(check >> 8), (uint8_t)check}, 2);
}

static void soft_sectors(struct track *t, const tp_track *image, const tp_form *form)
{
    if (form->gap_4a_bytes > 0) {
        fill(t, 0x4e, form->gap_4a_bytes);
        sync(t, 12, 0xc2, 0x5224);
        put(t, 0xfc, 0);
    }
    fill(t, 0x4e, form->gap_1_bytes);
    for (uint32_t i = 0; i < form->sectors; i++) {
        uint8_t address[] = {(uint8_t)image->cylinder, (uint8_t)image->side, (uint8_t)(i + 1),
                             (uint8_t)form->size_code};
        sync(t, 12, 0xa1, 0x4489);
        field(t, 0xfe, address, sizeof address);
        fill(t, 0x4e, form->gap_2_bytes);
        sync(t, 12, 0xa1, 0x4489);
        field(t, 0xfb, image->bytes + i * form->sector_bytes, form->sector_bytes);
        fill(t, 0x4e, form->gap_3_bytes);
    }
}

static void full_track(struct track *t, const tp_track *image, const tp_form *form)
{
    for (uint32_t i = 0; i < form->sectors; i++) {
        uint8_t header[] = {(uint8_t)image->cylinder, (uint8_t)image->side, (uint8_t)i, 0};
        sync(t, 4, 0xa1, 0x4489);
        split_with_check(t, header, sizeof header);
        split_with_check(t, image->bytes + i * form->sector_bytes, form->sector_bytes);
    }
}

/* The channel word of a byte: a clock bit is 1 only between two data bits that are 0. */
static uint16_t coded(uint8_t byte, int before)
{
    uint16_t word = 0;
    for (int bit = 7; bit >= 0; bit--) {
        int data = byte >> bit & 1;
        word = (uint16_t)(word << 2 | (!before && !data) << 1 | data);
        before = data;
    }
    return word;
}

static int32_t encode(void *self, const tp_track *image, const tp_form *form, uint8_t *stream,
                      uint32_t turn_bits)
{
    struct track *t = self;
    free(t->bytes);
    free(t->marks);
    t->length = 0;
    t->room = turn_bits / 16;
    t->bytes = malloc(t->room);
    t->marks = malloc(t->room * sizeof *t->marks);
    if (!t->bytes || !t->marks)
        return TP_FAIL;
    if (form->layout == TP_LAYOUT_SOFT_SECTOR)
        soft_sectors(t, image, form);
    else
        full_track(t, image, form);
    fill(t, 0x4e, t->room - t->length);

    int before = t->bytes[t->room - 1] & 1;
    for (uint32_t i = 0; i < t->room; i++) {
        uint16_t word = t->marks[i] ? t->marks[i] : coded(t->bytes[i], before);
        stream[2 * i] = (uint8_t)(word >> 8);
        stream[2 * i + 1] = (uint8_t)word;
        before = t->bytes[i] & 1;
    }
    return TP_OK;
}

static const tp_track_encoder table = {
    .struct_size = sizeof(tp_track_encoder), .abi_major = TP_ABI_MAJOR, .abi_minor = TP_ABI_MINOR,
    .name = "track encoder in C", .create = create, .destroy = destroy, .encode = encode,
};

const tp_track_encoder *tp_track_encoder_entry(uint32_t abi_major)
{
    return abi_major == TP_ABI_MAJOR ? &table : NULL;
}
