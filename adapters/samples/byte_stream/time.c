/*
 * Time: cells end and begin, events come between.
 *
 * At one moment the bit of the cell that ends there is shifted in first, with all that follows from
 * it; then come the services and the host's operations; then the index, the gate and the serialiser,
 * with which the next cell begins. A cell therefore begins only when time goes on.
 */
#include "controller.h"

void time_begin(controller *c) {
    c->cell = 0;
    c->in_cell = false;
    c->now_ns = 0;
}

static void begin_cell(controller *c) {
    const transfer *t = &c->transfer;
    c->in_cell = true;
    bool waits_for_index =
        t->stage == STAGE_WAITING && !t->writes && t->start == TP_START_INDEX;
    if (waits_for_index && drives_spin(c) && drives_position(c) == 0)
        transfer_start(c);
    writer_begin_cell(c);
}

static void end_cell(controller *c) {
    reader_shift(c);
    writer_end_cell(c);
    c->in_cell = false;
    c->cell++;
}

/* Lets time pass up to a moment whose own cell, if one begins then, has not begun. */
void time_pass(controller *c, uint64_t until_ns) {
    for (;;) {
        uint64_t begin_ns = c->cell * c->bit_ns;
        uint64_t end_ns = begin_ns + c->bit_ns;
        if (!c->in_cell && begin_ns < until_ns) {
            c->now_ns = begin_ns;
            begin_cell(c);
        } else if (c->in_cell && end_ns <= until_ns) {
            c->now_ns = end_ns;
            end_cell(c);
        } else {
            break;
        }
    }
    c->now_ns = until_ns;
}
