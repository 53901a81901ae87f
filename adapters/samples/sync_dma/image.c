/*
 * image.c: image-backed tracks: the stream of a turn made of its sectors, and sectors taken out of
 * a stream that was written on. Both layouts are those of trackproof.h.
 *
 * A stream is whole bytes of 16 cells each, so that byte n stands in cells[2n] and cells[2n + 1].
 */
#include "controller.h"

enum {
    MARK_A1 = 0x4489, /* the channel words of marks: a clock bit is missing */
    MARK_C2 = 0x5224,
    MARK_COUNT = 3,
    SYNC_BYTES = 12, /* of a soft-sector format, before each mark */
    ZERO_BYTES = 4,  /* of a full-track layout, before each sector's marks */
    HEADER_BYTES = 4,
    CHECK_BYTES = 2,
    GAP_BYTE = 0x4e,
    BYTE_CELLS = 16,
};

/* -------------------------------------------------------------------------------------- checks */

static uint16_t check_of(uint16_t check, uint8_t byte)
{
    check ^= (uint16_t)(byte << 8);
    for (int n = 0; n < 8; n++)
        check = (uint16_t)((check & 0x8000) != 0 ? check << 1 ^ 0x1021 : check << 1);
    return check;
}

/* The check over the marks alone, with which each field's check begins. */
static uint16_t check_of_marks(void)
{
    uint16_t check = 0xffff;
    for (int n = 0; n < MARK_COUNT; n++) check = check_of(check, 0xa1);
    return check;
}

static uint16_t check_of_bytes(uint16_t check, const uint8_t *bytes, uint32_t count)
{
    for (uint32_t n = 0; n < count; n++) check = check_of(check, bytes[n]);
    return check;
}

/* -------------------------------------------------------------------------------------- stream */

/* A turn that is being laid, from the index on. */
typedef struct {
    const controller *self;
    uint8_t *next;
    bool data_before; /* the last data bit that was laid */
} stream;

/* Every second cell is a data bit; between two zeros the cell before it is a 1. */
static void lay_byte(stream *s, uint8_t byte)
{
    if (fault(s->self, FAULT_IMAGE_FORGETS_EACH_BYTE)) s->data_before = false;
    uint32_t cells = 0;
    for (int n = 7; n >= 0; n--) {
        bool data = byte >> n & 1;
        bool clock = !s->data_before && !data;
        if (fault(s->self, FAULT_IMAGE_WITHOUT_CLOCK)) clock = false;
        if (fault(s->self, FAULT_IMAGE_CLOCKS_ONES) && n < 7 && data) clock = true;
        cells = cells << 2 | (uint32_t)clock << 1 | data;
        s->data_before = data;
    }
    *s->next++ = (uint8_t)(cells >> 8);
    *s->next++ = (uint8_t)cells;
}

static void lay_bytes(stream *s, uint8_t byte, uint32_t count)
{
    for (uint32_t n = 0; n < count; n++) lay_byte(s, byte);
}

static void lay_marks(stream *s, uint32_t word)
{
    if (fault(s->self, FAULT_MARK_WITH_CLOCK)) word |= word == MARK_A1 ? 0x0020 : 0x0080;
    for (int n = 0; n < MARK_COUNT; n++) {
        *s->next++ = (uint8_t)(word >> 8);
        *s->next++ = (uint8_t)word;
    }
    s->data_before = word & 1;
}

/* Bits 6, 4, 2, 0 of a byte, and 7, 5, 3, 1. */
static uint8_t even_bits(uint8_t byte)
{
    return (uint8_t)((byte >> 3 & 8) | (byte >> 2 & 4) | (byte >> 1 & 2) | (byte & 1));
}

static uint8_t odd_bits(uint8_t byte)
{
    return even_bits((uint8_t)(byte >> 1));
}

/* Nibble n of a field that is split: first the even bits of all bytes, then the odd ones. */
static uint8_t split_nibble(const uint8_t *bytes, uint32_t count, uint32_t n)
{
    return n < count ? even_bits(bytes[n]) : odd_bits(bytes[n - count]);
}

static void lay_split(stream *s, const uint8_t *bytes, uint32_t count)
{
    for (uint32_t n = 0; n < 2 * count; n += 2)
        lay_byte(s, (uint8_t)(split_nibble(bytes, count, n) << 4 |
                              split_nibble(bytes, count, n + 1)));
}

static void lay_split_check(stream *s, uint16_t check)
{
    const uint8_t bytes[CHECK_BYTES] = {(uint8_t)(check >> 8), (uint8_t)check};
    lay_split(s, bytes, CHECK_BYTES);
}

static void lay_check(stream *s, uint16_t check)
{
    lay_byte(s, (uint8_t)(check >> 8));
    lay_byte(s, (uint8_t)check);
}

static uint16_t data_check_begin(const controller *self)
{
    return fault(self, FAULT_IMAGE_CHECK_WRONG) ? 0xffff : check_of_marks();
}

static void lay_full_track(stream *s, const track *image)
{
    uint32_t size = image->form.sector_bytes;
    for (uint32_t n = 0; n < image->form.sectors; n++) {
        const uint8_t header[HEADER_BYTES] = {image->cylinder, image->side, (uint8_t)n, 0};
        const uint8_t *data = image->sectors + (size_t)n * size;
        lay_bytes(s, 0, ZERO_BYTES);
        lay_marks(s, MARK_A1);
        lay_split(s, header, HEADER_BYTES);
        lay_split_check(s, check_of_bytes(check_of_marks(), header, HEADER_BYTES));
        lay_split(s, data, size);
        lay_split_check(s, check_of_bytes(data_check_begin(s->self), data, size));
    }
}

static void lay_soft_sectors(stream *s, const track *image)
{
    const tp_form *form = &image->form;
    if (form->gap_4a_bytes > 0) {
        lay_bytes(s, GAP_BYTE, form->gap_4a_bytes);
        lay_bytes(s, 0, SYNC_BYTES);
        lay_marks(s, MARK_C2);
        lay_byte(s, 0xfc);
    }
    lay_bytes(s, GAP_BYTE, form->gap_1_bytes);
    for (uint32_t n = 0; n < form->sectors; n++) {
        const uint8_t header[1 + HEADER_BYTES] = {0xfe, image->cylinder, image->side,
                                                  (uint8_t)(n + 1), (uint8_t)form->size_code};
        const uint8_t *data = image->sectors + (size_t)n * form->sector_bytes;
        lay_bytes(s, 0, SYNC_BYTES);
        lay_marks(s, MARK_A1);
        for (uint32_t place = 0; place < sizeof header; place++) lay_byte(s, header[place]);
        lay_check(s, check_of_bytes(check_of_marks(), header, sizeof header));
        lay_bytes(s, GAP_BYTE, form->gap_2_bytes);

        lay_bytes(s, 0, SYNC_BYTES);
        lay_marks(s, MARK_A1);
        lay_byte(s, 0xfb);
        for (uint32_t place = 0; place < form->sector_bytes; place++) lay_byte(s, data[place]);
        uint16_t check = check_of(data_check_begin(s->self), 0xfb);
        lay_check(s, check_of_bytes(check, data, form->sector_bytes));
        lay_bytes(s, GAP_BYTE, form->gap_3_bytes);
    }
}

/* The cells from the index to the end of the last field. */
uint32_t image_cells(const tp_form *form)
{
    uint32_t bytes = form->sectors * (ZERO_BYTES + MARK_COUNT + HEADER_BYTES + CHECK_BYTES +
                                      form->sector_bytes + CHECK_BYTES);
    if (form->layout == TP_LAYOUT_SOFT_SECTOR) {
        const uint32_t mark = SYNC_BYTES + MARK_COUNT + 1;
        bytes = form->gap_1_bytes +
                form->sectors * (mark + HEADER_BYTES + CHECK_BYTES + form->gap_2_bytes + mark +
                                 form->sector_bytes + CHECK_BYTES + form->gap_3_bytes);
        if (form->gap_4a_bytes > 0) bytes += form->gap_4a_bytes + mark;
    }
    return bytes * BYTE_CELLS;
}

/* Makes an image's stream of its sectors. The first byte of each layout is a gap or zeros; its
 * first bit is a 0, whose clock bit follows from the last bit of the turn. */
void make_stream(const controller *self, track *image)
{
    stream s = {.self = self, .next = image->cells};
    if (image->form.layout == TP_LAYOUT_FULL_TRACK)
        lay_full_track(&s, image);
    else
        lay_soft_sectors(&s, image);
    while (s.next < image->cells + image->cell_count / 8) lay_byte(&s, GAP_BYTE);
    if (s.data_before || fault(self, FAULT_IMAGE_FORGETS_AT_WRAP)) image->cells[0] &= 0x7f;
}

/* -------------------------------------------------------------------------------------- decode */

static uint32_t cell_at(const track *t, uint32_t cell)
{
    cell %= t->cell_count;
    return t->cells[cell / 8] >> (7 - cell % 8) & 1u;
}

/* The data bits of 16 channel bits: every second one, the last one lowest. */
uint8_t data_bits(uint64_t channel_bits)
{
    uint32_t byte = 0;
    for (uint32_t n = 0; n < 8; n++) byte |= (uint32_t)(channel_bits >> (2 * n) & 1) << n;
    return (uint8_t)byte;
}

/* `count` data bits, at most 8, from the one that stands in this cell and the one before it. */
static uint8_t data_at(const track *t, uint32_t cell, uint32_t count)
{
    uint32_t bits = 0;
    for (uint32_t n = 0; n < count; n++) bits = bits << 1 | cell_at(t, cell + 2 * n + 1);
    return (uint8_t)bits;
}

/* A field that begins in this cell, split or plain. */
typedef struct {
    const track *t;
    uint32_t cell, bytes;
    bool split;
} field;

static uint8_t field_byte(const field *f, uint32_t n)
{
    if (!f->split) return data_at(f->t, f->cell + n * BYTE_CELLS, 8);
    uint32_t even = data_at(f->t, f->cell + n * (BYTE_CELLS / 2), 4);
    uint32_t odd = data_at(f->t, f->cell + (f->bytes + n) * (BYTE_CELLS / 2), 4);
    uint32_t byte = 0;
    for (int bit = 0; bit < 4; bit++)
        byte |= (even >> bit & 1) << (2 * bit) | (odd >> bit & 1) << (2 * bit + 1);
    return (uint8_t)byte;
}

static uint32_t field_end(const field *f)
{
    return f->cell + f->bytes * BYTE_CELLS;
}

/* Whether the field's check, which stands behind it, is right. */
static bool is_right(const field *f, uint16_t check)
{
    for (uint32_t n = 0; n < f->bytes; n++) check = check_of(check, field_byte(f, n));
    const field stored = {f->t, field_end(f), CHECK_BYTES, f->split};
    return check == (uint16_t)(field_byte(&stored, 0) << 8 | field_byte(&stored, 1));
}

/* Looks for three A1 marks that begin in a cell from `from` to before `until`. Gives the cell
 * behind them, or false. */
static bool find_marks(const track *t, uint32_t from, uint32_t until, uint32_t *behind)
{
    const uint32_t cells = MARK_COUNT * BYTE_CELLS;
    const uint64_t marks = (UINT64_C(1) << 32 | 1u << 16 | 1u) * MARK_A1;
    uint64_t seen = 0;
    for (uint32_t cell = from; cell < until + cells - 1; cell++) {
        seen = (seen << 1 | cell_at(t, cell)) & low_bits(cells);
        if (cell + 1 < from + cells || seen != marks) continue;
        *behind = cell + 1;
        return true;
    }
    return false;
}

/* The number of the sector, from 0, whose right header begins behind these marks; else the
 * layout's number of sectors, which none has. */
static uint32_t sector_of_header(const field *header, uint8_t mark, uint32_t first, uint8_t size)
{
    const track *t = header->t;
    uint16_t check = check_of_marks();
    if (!header->split) check = check_of(check, mark);
    uint32_t number = field_byte(header, 2) - first;
    bool known = field_byte(header, 0) == t->cylinder && field_byte(header, 1) == t->side &&
                 number < t->form.sectors && field_byte(header, 3) == size;
    return known && is_right(header, check) ? number : t->form.sectors;
}

static void take_data(track *image, uint32_t sector, const field *data)
{
    uint8_t *bytes = image->sectors + (size_t)sector * image->form.sector_bytes;
    for (uint32_t n = 0; n < data->bytes; n++) bytes[n] = field_byte(data, n);
}

/* A full-track sector: header and data follow the marks at once. */
static bool find_full_track(const track *image, uint32_t cell, uint32_t *sector, field *data)
{
    const field header = {image, cell, HEADER_BYTES, true};
    *sector = sector_of_header(&header, 0, 0, 0);
    *data = (field){image, field_end(&header) + CHECK_BYTES * BYTE_CELLS, image->form.sector_bytes,
                    true};
    return *sector < image->form.sectors && is_right(data, check_of_marks());
}

/* A soft sector: the next marks behind its header are those of its data. */
static bool find_soft_sector(const track *image, uint32_t cell, uint32_t *sector, field *data)
{
    if (data_at(image, cell, 8) != 0xfe) return false;
    const field header = {image, cell + BYTE_CELLS, HEADER_BYTES, false};
    *sector = sector_of_header(&header, 0xfe, 1, (uint8_t)image->form.size_code);
    if (*sector >= image->form.sectors) return false;
    uint32_t from = field_end(&header) + CHECK_BYTES * BYTE_CELLS, behind;
    if (!find_marks(image, from, from + image->cell_count, &behind)) return false;
    if (data_at(image, behind, 8) != 0xfb) return false;
    *data = (field){image, behind + BYTE_CELLS, image->form.sector_bytes, false};
    return is_right(data, check_of(check_of_marks(), 0xfb));
}

/* Takes the sectors out of a stream that was written on: of each the first copy behind the index
 * whose header and data have right checks. A sector without one keeps what it had. */
void decode_stream(track *image)
{
    bool taken[MAX_SECTORS] = {false};
    uint32_t turn = image->cell_count, from = 0, behind;
    while (from < turn && find_marks(image, from, turn, &behind)) {
        from = behind - MARK_COUNT * BYTE_CELLS + 1;
        uint32_t sector = 0;
        field data = {.t = image};
        bool found = image->form.layout == TP_LAYOUT_FULL_TRACK
                         ? find_full_track(image, behind, &sector, &data)
                         : find_soft_sector(image, behind, &sector, &data);
        if (!found || taken[sector]) continue;
        take_data(image, sector, &data);
        taken[sector] = true;
    }
}
