/* The full-track layout of an image's track, as TP_LAYOUT_FULL_TRACK in trackproof.h says. */
#include "image.h"

enum { ZERO_BYTES = 4, HEADER_BYTES = 4, CHECK_BYTES = 2 };

/* Bits 6, 4, 2, 0 of a byte as a number of four bits. */
static uint8_t even_bits(uint8_t byte) {
    return (uint8_t)((byte >> 6 & 1) << 3 | (byte >> 4 & 1) << 2 | (byte >> 2 & 1) << 1 | (byte & 1));
}

/* The other way round. */
static uint8_t spread(uint8_t four) {
    return (uint8_t)((four >> 3 & 1) << 6 | (four >> 2 & 1) << 4 | (four >> 1 & 1) << 2 | (four & 1));
}

/* A field of an even number of bytes: all its even bits, then all its odd ones. */
static void put_split(cursor *to, const uint8_t *bytes, size_t count) {
    for (int odd = 0; odd < 2; odd++)
        for (size_t i = 0; i < count; i += 2) {
            uint8_t high = even_bits((uint8_t)(bytes[i] >> odd));
            uint8_t low = even_bits((uint8_t)(bytes[i + 1] >> odd));
            put(to, (uint8_t)(high << 4 | low), 0);
        }
}

static void put_check(cursor *to, const uint8_t *bytes, size_t count) {
    uint16_t check = check_of_marks();
    for (size_t i = 0; i < count; i++)
        check = check_on(check, bytes[i]);
    uint8_t field[CHECK_BYTES] = {(uint8_t)(check >> 8), (uint8_t)check};
    put_split(to, field, CHECK_BYTES);
}

void full_track_stream(cursor *to) {
    const track *t = to->track;
    for (uint32_t i = 0; i < t->form.sectors; i++) {
        uint8_t header[HEADER_BYTES] = {(uint8_t)t->cylinder, (uint8_t)t->side, (uint8_t)i, 0};
        const uint8_t *data = t->sectors + (size_t)i * t->form.sector_bytes;
        put_times(to, ZERO_BYTES, 0x00);
        put_marks(to, 0xA1, A1_OMITTED);
        put_split(to, header, HEADER_BYTES);
        put_check(to, header, HEADER_BYTES);
        put_split(to, data, t->form.sector_bytes);
        put_check(to, data, t->form.sector_bytes);
    }
}

/* Byte number `i` of a split field of `count` bytes that begins at `field`. */
static uint8_t get_split(cursor field, size_t count, size_t i) {
    cursor even = field, odd = field;
    even.at += i / 2 * 16;
    odd.at += (count / 2 + i / 2) * 16;
    unsigned shift = i % 2 == 0 ? 4 : 0;
    return (uint8_t)(spread(get(&even) >> shift & 0xF) | spread(get(&odd) >> shift & 0xF) << 1);
}

/* Whether a split field and the check behind it come out right. */
static bool field_right(cursor field, size_t count) {
    uint16_t check = check_of_marks();
    cursor behind = field;
    behind.at += count * 16;
    for (size_t i = 0; i < count; i++)
        check = check_on(check, get_split(field, count, i));
    for (size_t i = 0; i < CHECK_BYTES; i++)
        check = check_on(check, get_split(behind, CHECK_BYTES, i));
    return check == 0;
}

/* Takes over the sector that stands behind these marks, if header and data come out right. */
static void get_sector(track *t, cursor header) {
    cursor data = header;
    size_t count = t->form.sector_bytes;
    data.at += (HEADER_BYTES + CHECK_BYTES) * 16;
    if (!field_right(header, HEADER_BYTES) || !field_right(data, count))
        return;
    size_t sector = get_split(header, HEADER_BYTES, 2);
    bool ours = get_split(header, HEADER_BYTES, 0) == t->cylinder &&
                get_split(header, HEADER_BYTES, 1) == t->side && sector < t->form.sectors &&
                get_split(header, HEADER_BYTES, 3) == 0;
    for (size_t i = 0; ours && i < count; i++)
        t->sectors[sector * count + i] = get_split(data, count, i);
}

void full_track_decode(track *t) {
    cursor from = {.track = t};
    size_t left = (size_t)t->turn_bits + 47; /* marks that lie over the index, too */
    while (find_marks(&from, &left))
        get_sector(t, from);
}
