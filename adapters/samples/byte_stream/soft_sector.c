/* The soft-sector layout of an image's track, as TP_LAYOUT_SOFT_SECTOR in trackproof.h says. */
#include "image.h"

enum { SYNC_BYTES = 12, INDEX_MARK = 0xFC, HEADER_MARK = 0xFE, DATA_MARK = 0xFB };

static size_t bytes_of(const track *t) {
    return (size_t)128 << t->form.size_code;
}

static void put_checked(cursor *to, uint16_t *check, uint8_t byte) {
    *check = check_on(*check, byte);
    put(to, byte, 0);
}

static void put_check(cursor *to, uint16_t check) {
    put(to, (uint8_t)(check >> 8), 0);
    put(to, (uint8_t)check, 0);
}

/* Sync, the three marks and the byte behind them; gives the check so far. */
static uint16_t put_mark(cursor *to, uint8_t kind) {
    uint16_t check = check_of_marks();
    put_times(to, SYNC_BYTES, 0x00);
    put_marks(to, 0xA1, A1_OMITTED);
    put_checked(to, &check, kind);
    return check;
}

void soft_sector_stream(cursor *to) {
    const track *t = to->track;
    const tp_form *form = &t->form;
    if (form->gap_4a_bytes != 0) {
        put_times(to, form->gap_4a_bytes, FILL);
        put_times(to, SYNC_BYTES, 0x00);
        put_marks(to, 0xC2, C2_OMITTED);
        put(to, INDEX_MARK, 0);
    }
    put_times(to, form->gap_1_bytes, FILL);
    for (uint32_t i = 0; i < form->sectors; i++) {
        uint16_t check = put_mark(to, HEADER_MARK);
        put_checked(to, &check, (uint8_t)t->cylinder);
        put_checked(to, &check, (uint8_t)t->side);
        put_checked(to, &check, (uint8_t)(i + 1));
        put_checked(to, &check, (uint8_t)form->size_code);
        put_check(to, check);
        put_times(to, form->gap_2_bytes, FILL);
        check = put_mark(to, DATA_MARK);
        for (size_t at = 0; at < bytes_of(t); at++)
            put_checked(to, &check, t->sectors[i * bytes_of(t) + at]);
        put_check(to, check);
        put_times(to, form->gap_3_bytes, FILL);
    }
}

/* Whether `count` bytes and their check come out right; keeps the bytes, if `into` is not null. */
static bool get_field(cursor from, uint16_t check, size_t count, uint8_t *into) {
    for (size_t i = 0; i < count; i++) {
        uint8_t byte = get(&from);
        check = check_on(check, byte);
        if (into)
            into[i] = byte;
    }
    check = check_on(check, get(&from));
    return check_on(check, get(&from)) == 0;
}

/* The number of the sector, from 0, whose header stands here; -1 if there is none of this track. */
static int64_t get_header(const track *t, cursor from) {
    uint16_t check = check_of_marks();
    uint8_t header[4];
    uint8_t kind = get(&from);
    if (kind != HEADER_MARK || !get_field(from, check_on(check, kind), sizeof header, header))
        return -1;
    bool ours = header[0] == t->cylinder && header[1] == t->side && header[2] >= 1 &&
                header[2] <= t->form.sectors && header[3] == t->form.size_code;
    return ours ? header[2] - 1 : -1;
}

/* Takes the data over, if the next marks are those of data with a right check. */
static void get_data(track *t, cursor from, size_t sector) {
    size_t left = t->turn_bits;
    if (!find_marks(&from, &left))
        return;
    uint8_t kind = get(&from);
    uint16_t check = check_on(check_of_marks(), kind);
    if (kind == DATA_MARK && get_field(from, check, bytes_of(t), NULL))
        get_field(from, check, bytes_of(t), t->sectors + sector * bytes_of(t));
}

void soft_sector_decode(track *t) {
    cursor from = {.track = t};
    size_t left = (size_t)t->turn_bits + 47; /* marks that lie over the index, too */
    while (find_marks(&from, &left)) {
        int64_t sector = get_header(t, from);
        if (sector >= 0)
            get_data(t, from, (size_t)sector);
    }
}
