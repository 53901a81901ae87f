/*
 * A data separator: flux transitions in, channel bits out.
 *
 * An oscillator makes windows, one for each channel bit. A window in which a transition comes is a
 * one, any other a zero; it is given when it closes. Each transition moves the phase of the
 * oscillator towards the window's centre, and its speed by a part of the error that the interval
 * has per window. An interval of no legal length says nothing of the speed: there the oscillator
 * begins anew, centred on the transition, at nominal speed.
 *
 *   door.c  the table of functions that trackproof calls
 *   loop.c  oscillator, windows, corrections
 *   bits.c  channel bits that wait to be given
 *
 * All arithmetic is in integers, so that slices of time may be cut anywhere.
 */
#ifndef SEPARATOR_H
#define SEPARATOR_H

#include "faults.h"
#include "trackproof.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { FM, MFM }; /* TP_KEY_RECORDING */
enum { ERROR_TEXT = 200 };

/* ---- bits.c: a ring, one channel bit a byte ---- */

typedef struct waiting {
    uint8_t *bits;
    size_t first, count, room; /* room is 0 or a power of two */
    bool overflow;             /* one did not fit, within the limit or in memory */
} waiting;

void bits_put(waiting *w, uint8_t bit);

/* Up to `capacity` of them into `packed`, the oldest in the top bit; returns how many. */
uint32_t bits_take(waiting *w, uint8_t *packed, uint32_t capacity);

/* ---- loop.c ---- */

typedef struct separator {
    bool powered;
    uint64_t bit_ns;             /* T */
    unsigned shortest, longest;  /* legal intervals, in channel bits */

    uint64_t now_ns;
    int64_t phase;               /* in the window, from 0 to WINDOW */
    int64_t speed, nominal;      /* phase per nanosecond */
    unsigned windows;            /* begun since the one with the last transition */
    bool marked;                 /* a transition is in the window under way */
    bool following;              /* one has come since power-up */

    uint64_t last_ns;            /* for a fault: when the last transition was taken */
    unsigned deaf_windows;       /* for a fault: left in which none is taken */
    bool stuck, sluggish;        /* for faults: adjusts no more; adjusts the speed too little */
    uint32_t slices;             /* for a fault: calls that brought transitions */

    waiting waiting;
    char why[ERROR_TEXT];        /* what failed last */
    bool faults[FAULT_COUNT];
} separator;

static inline bool fault(const separator *s, enum fault which)
{
    return s->faults[which];
}

/* The lengths of T that the arithmetic is good for. */
enum { SHORTEST_BIT_NS = 50, LONGEST_BIT_NS = 100000 };

void loop_power_up(separator *s, int64_t recording, uint64_t bit_ns);

/* Time passes: windows close. Where it is earlier than before, it stands. */
void loop_pass(separator *s, uint64_t until_ns);

/* A transition comes, now or later. */
void loop_transition(separator *s, uint64_t at_ns);

#endif
