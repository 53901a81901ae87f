/*
 * The clock generator: the data bits of a word become channel bits, each behind its clock bit.
 *
 * A word of W bits has W/2 data bits in its low half. A 1 in its high half leaves out the clock bit
 * before the data bit at the same place; that makes the marks: 04A1 is written as the channel bits
 * 4489, and 08C2 as 5224 (SA810/860 OEM manual, fig. 6-7: clock byte 0A of A1, 14 of C2).
 */
#include "controller.h"

/*
 * MFM: a transition at the boundary between two bit cells that both hold a zero (ISO 8630-3 and
 * ISO 8860-2, clause 4.1 b). FM: one at the begin of every bit cell (SA810/860 OEM manual, 1.4.8).
 */
bool encoder_clock(bool fm, bool before, bool data) {
    return fm || (!before && !data);
}

/* The data bit that the first clock bit of a write supposes before it. */
void encoder_begin_write(controller *c) {
    writer *w = &c->writer;
    bool joined = is(c, TP_KEY_WRITE_JOIN, 1) && w->joins;
    w->behind_mark = false;
    if (joined) {
        if (fault(c, JOINED_WRITE_FORGETS))
            w->context = false;
    } else if (!is(c, TP_KEY_FIRST_CONTEXT, CONTEXT_LAST)) {
        w->context = is(c, TP_KEY_FIRST_CONTEXT, CONTEXT_1);
    }
}

uint64_t encoder_word(controller *c, uint64_t word) {
    writer *w = &c->writer;
    bool fm = is(c, TP_KEY_RECORDING, FM);
    unsigned cells = c->word_bits / 2;
    uint64_t omitted = word >> cells & ones(cells);
    bool mark = omitted != 0;
    if (fault(c, MARK_CLOCK_OFF_BY_ONE))
        omitted >>= 1;
    bool before = w->context;
    if (fault(c, CONTEXT_LOST_EACH_BYTE) || (fault(c, CONTEXT_LOST_BEHIND_MARK) && w->behind_mark))
        before = false;
    uint64_t bits = 0;
    for (unsigned i = cells; i-- > 0;) {
        bool data = word >> i & 1;
        bool clock = encoder_clock(fm, before, data) && !(omitted >> i & 1);
        if (fault(c, FM_CLOCK_MISSING) && fm)
            clock = false;
        if (fault(c, LOW_HALF_EXCHANGED) && w->begun % 2 == 0 && i < cells / 2)
            bits = bits << 2 | (uint64_t)data << 1 | clock;
        else
            bits = bits << 2 | (uint64_t)clock << 1 | data;
        before = data;
    }
    w->behind_mark = mark;
    return bits;
}
