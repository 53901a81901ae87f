/*
 * Tracks of drives that are backed by images: the stream of channel bits that their sectors make,
 * and the sectors that a written stream leaves. All of them are MFM.
 *
 * A stream is laid out first, with a 1 in the clock position where a mark leaves the clock bit out;
 * then all clock bits are made in one go, over the index too.
 */
#include "image.h"

void put(cursor *to, uint8_t byte, uint8_t omitted) {
    track *t = to->track;
    for (unsigned i = 8; i-- > 0; to->at += 2) {
        set_bit(t->bits, to->at % t->turn_bits, omitted >> i & 1);
        set_bit(t->bits, (to->at + 1) % t->turn_bits, byte >> i & 1);
    }
}

void put_times(cursor *to, unsigned count, uint8_t byte) {
    while (count-- > 0)
        put(to, byte, 0);
}

void put_marks(cursor *to, uint8_t byte, uint8_t omitted) {
    for (int i = 0; i < 3; i++)
        put(to, byte, omitted);
}

static void make_clock_bits(track *t) {
    bool before = bit_of(t->bits, t->turn_bits - 1);
    for (size_t at = 0; at + 1 < t->turn_bits; at += 2) {
        bool omitted = bit_of(t->bits, at);
        bool data = bit_of(t->bits, at + 1);
        set_bit(t->bits, at, encoder_clock(false, before, data) && !omitted);
        before = data;
    }
}

void image_stream(track *t) {
    cursor to = {.track = t};
    if (t->form.layout == TP_LAYOUT_FULL_TRACK)
        full_track_stream(&to);
    else
        soft_sector_stream(&to);
    while (to.at < t->turn_bits)
        put(&to, FILL, 0);
    make_clock_bits(t);
}

void image_decode(track *t) {
    if (t->form.layout == TP_LAYOUT_FULL_TRACK)
        full_track_decode(t);
    else
        soft_sector_decode(t);
    image_stream(t);
}

uint8_t get(cursor *from) {
    const track *t = from->track;
    uint8_t byte = 0;
    for (unsigned i = 0; i < 8; i++, from->at += 2)
        byte = (uint8_t)(byte << 1 | bit_of(t->bits, (from->at + 1) % t->turn_bits));
    return byte;
}

bool find_marks(cursor *from, size_t *left) {
    const track *t = from->track;
    uint64_t last_48 = 0;
    for (unsigned seen = 0; *left > 0; from->at++) {
        --*left;
        last_48 = (last_48 << 1 | bit_of(t->bits, from->at % t->turn_bits)) & ones(48);
        if (++seen >= 48 && last_48 == UINT64_C(0x448944894489)) {
            from->at++;
            return true;
        }
    }
    return false;
}

uint16_t check_on(uint16_t check, uint8_t byte) {
    check ^= (uint16_t)(byte << 8);
    for (int i = 0; i < 8; i++)
        check = (uint16_t)(check & 0x8000 ? check << 1 ^ 0x1021 : check << 1);
    return check;
}

uint16_t check_of_marks(void) {
    uint16_t check = 0xFFFF;
    for (int i = 0; i < 3; i++)
        check = check_on(check, 0xA1);
    return check;
}
