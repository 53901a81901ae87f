/*
 * The reader: shift register, comparator, word counter, match flag and byte port. All of them
 * always run, whatever is selected or asked for.
 */
#include "controller.h"

/* The sync word of power-up and reset: the channel bits of the mark A1. */
#define DEFAULT_SYNC_WORD UINT64_C(0x4489)

void reader_power_up(controller *c) {
    c->reader = (reader){
        .from_source = c->register_bits,
        .sync_word = DEFAULT_SYNC_WORD & ones(c->register_bits),
    };
}

void reader_source_changed(controller *c) {
    c->reader.from_source = 0;
}

/* The bits since the last boundary, and those of the byte under way, are lost. */
void reader_zero_counter(controller *c) {
    if (c->reader.phase != 0)
        c->read_ended = false;
    c->reader.phase = 0;
    c->reader.byte_phase = 0;
}

uint64_t reader_word(const controller *c) {
    return c->reader.history & ones(c->word_bits);
}

/* Whether the register holds the sync word, all of it from one source. */
static bool register_matches(const controller *c) {
    const reader *r = &c->reader;
    uint64_t mask = (uint64_t)c->choice[TP_KEY_SYNC_MASK] & ones(c->register_bits);
    return ((r->history ^ r->sync_word) & mask) == 0 && r->from_source >= c->register_bits &&
           !c->writer.gate;
}

bool reader_match_shows(const controller *c) {
    return register_matches(c) && (c->reader.sync_on || is(c, TP_KEY_FLAG_WHEN_OFF, 1));
}

/* Whether a match is made now, for start, alignment and delivery. */
static bool match_made(controller *c) {
    reader *r = &c->reader;
    if (!r->sync_on)
        return false;
    if (r->deaf > 0) {
        r->deaf--;
        return false;
    }
    if (!register_matches(c))
        return false;
    r->deaf = (unsigned)c->choice[TP_KEY_REFRACTORY];
    return true;
}

static void shift_byte(controller *c) {
    reader *r = &c->reader;
    bool data_only = is(c, TP_KEY_BYTE, 1);
    if (++r->byte_phase < (data_only ? 16u : 8u))
        return;
    r->byte_phase = 0;
    if (fault(c, UNREAD_BYTE_KEPT) && r->byte_new)
        return;
    uint64_t bits = r->history;
    if (data_only) {
        if (fault(c, BYTE_OF_CLOCK_BITS))
            bits >>= 1;
        uint8_t byte = 0;
        for (unsigned i = 8; i-- > 0;)
            byte = (uint8_t)(byte << 1 | (bits >> 2 * i & 1));
        r->byte = byte;
    } else {
        r->byte = (uint8_t)bits;
    }
    r->byte_new = true;
}

static void zero_at_match(controller *c) {
    unsigned byte_phase = c->reader.byte_phase;
    reader_zero_counter(c);
    if (fault(c, BYTE_IGNORES_SYNC))
        c->reader.byte_phase = byte_phase;
}

/* A match off the word boundaries of a running read. */
static void misaligned_match(controller *c, unsigned bits_since) {
    transfer *t = &c->transfer;
    if (is(c, TP_KEY_MISALIGNED_MATCH, MISALIGNED_IGNORE) ||
        is(c, TP_KEY_REALIGN, REALIGN_NEVER) ||
        (is(c, TP_KEY_REALIGN, REALIGN_FIRST) && t->realigned))
        return;
    t->realigned = true;
    zero_at_match(c);
    if (is(c, TP_KEY_PARTIAL, PARTIAL_PAD_LOW)) {
        uint64_t partial = c->reader.history & ones(bits_since);
        transfer_take_in(c, partial << (c->word_bits - bits_since));
    }
    if (is(c, TP_KEY_MISALIGNED_MATCH, MISALIGNED_REALIGN_DELIVER))
        transfer_take_in(c, reader_word(c));
}

/* What a bit means to a read that runs. */
static void shift_into_read(controller *c, bool match, unsigned bits_since) {
    bool boundary = bits_since == c->word_bits;
    if (c->transfer.sync_came_late)
        match = false;
    if (match && !boundary) {
        misaligned_match(c, bits_since);
        return;
    }
    if (match)
        zero_at_match(c);
    if (boundary && !(match && is(c, TP_KEY_ALIGNED_MATCH, 1)))
        transfer_take_in(c, reader_word(c));
}

/* Outside a running read each match zeroes the counter, and starts what waits for it. */
static void match_outside_read(controller *c) {
    transfer *t = &c->transfer;
    zero_at_match(c);
    if (t->stage != STAGE_WAITING || t->start != TP_START_MATCH)
        return;
    if (t->writes) {
        writer_match(c);
        return;
    }
    t->stage = STAGE_RUNNING;
    if (is(c, TP_KEY_START_MATCH, 1) && !fault(c, START_WORD_DROPPED))
        transfer_take_in(c, reader_word(c));
}

void reader_shift(controller *c) {
    reader *r = &c->reader;
    bool bit = false;
    if (!c->writer.gate) {
        if (drives_spin(c))
            bit = c->under_head && bit_of(c->under_head->bits, drives_position(c));
        else if (is(c, TP_KEY_NO_DRIVE_READ, NO_DRIVE_NOTHING))
            return;
        else
            bit = is(c, TP_KEY_NO_DRIVE_READ, NO_DRIVE_ONES);
    }
    r->history = r->history << 1 | bit;
    if (r->from_source < c->register_bits)
        r->from_source++;
    unsigned bits_since = r->phase + 1;
    r->phase = bits_since % c->word_bits;
    shift_byte(c);

    bool shows = reader_match_shows(c);
    if (shows && is(c, TP_KEY_FLAG, FLAG_EVENT))
        tell(c, TP_ITEM_MATCH, 0, 0, false);
    r->flag = r->flag || shows;

    bool match = match_made(c);
    if (c->transfer.stage == STAGE_RUNNING && !c->transfer.writes)
        shift_into_read(c, match, bits_since);
    else if (match)
        match_outside_read(c);
}
