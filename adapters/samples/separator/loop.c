/*
 * The oscillator and what holds it to the flux.
 *
 * Phases are counted in 2^-32 windows. Behind a legal interval, three quarters of the transition's
 * error are taken out of the phase, and 3/16 of its error per window out of the speed. Half a
 * window of error is too much. A step of the cells by 11.2 % costs 0.448 at once where an interval
 * of 4 follows, and 0.468 in the worst sequence of intervals behind it; a ramp or a swing with
 * pushed transitions costs 0.335. Smaller parts fail at the step; larger ones follow every tremble.
 */
#include "separator.h"

#define WINDOW (INT64_C(1) << 32)

/* Windows without a transition after which the oscillator rests until the next one. */
enum { REST_WINDOWS = 4096 };

/* Parts of an error that are corrected, in 64ths. */
enum { PHASE_PART = 48, SPEED_PART = 12, WHOLE = 64 };

/* Limits of the speed, in thousandths: cells of 1.15 and 0.86. That is a little more than the
 * standard has (ISO 8630-3, 4.4.2 and 4.4.3: 0.892 to 1.112), and too little to find 1 or 3 windows
 * in the intervals of 2 of a zero field, if the cells are within 3 % of nominal. */
enum { SLOWEST = 870, FASTEST = 1163, NOMINAL = 1000 };

static int64_t part(int64_t of, int64_t count, int64_t whole)
{
    return of * count / whole;
}

void loop_power_up(separator *s, int64_t recording, uint64_t bit_ns)
{
    if (fault(s, FM_AT_HALF_CLOCK) && recording == FM)
        bit_ns *= 2;
    s->bit_ns = bit_ns;
    s->shortest = recording == FM ? 1 : 2;
    s->longest = recording == FM ? 2 : 4;
    s->now_ns = s->last_ns = 0;
    s->phase = 0;
    s->speed = s->nominal = WINDOW / (int64_t)bit_ns;
    s->windows = s->deaf_windows = s->slices = 0;
    s->marked = s->following = s->stuck = s->sluggish = false;
}

static void close_window(separator *s)
{
    bool last_zero = !s->marked && s->windows == s->longest - 1;
    if (!(fault(s, LOST_IN_LONGEST_INTERVAL) && last_zero))
        bits_put(&s->waiting, s->marked);
    s->marked = false;
    s->windows++;
    s->deaf_windows -= s->deaf_windows > 0;
}

void loop_pass(separator *s, uint64_t until_ns)
{
    uint64_t passed_ns = until_ns > s->now_ns ? until_ns - s->now_ns : 0;
    uint64_t most_ns = 2 * REST_WINDOWS * s->bit_ns; /* it rests by then */
    s->now_ns += passed_ns;
    s->phase += s->speed * (int64_t)(passed_ns < most_ns ? passed_ns : most_ns);
    for (; s->phase >= WINDOW && s->windows < REST_WINDOWS; s->phase -= WINDOW)
        close_window(s);
    s->phase %= WINDOW;
}

static void limit_speed(separator *s)
{
    int slowest = SLOWEST, fastest = FASTEST;
    if (fault(s, LOCK_RANGE_TOO_SMALL)) {
        slowest = NOMINAL - 10;
        fastest = NOMINAL + 10;
    }
    if (fault(s, LOCKS_TO_HARMONIC))
        fastest = 2 * NOMINAL;
    if (s->speed < part(s->nominal, slowest, NOMINAL))
        s->speed = part(s->nominal, slowest, NOMINAL);
    if (s->speed > part(s->nominal, fastest, NOMINAL))
        s->speed = part(s->nominal, fastest, NOMINAL);
}

/* Where a transition belongs in its window. */
static int64_t centre(const separator *s)
{
    if (fault(s, WINDOW_OFF_CENTRE))
        return WINDOW / 2 - WINDOW / 3;
    return WINDOW / 2;
}

/* Behind an interval that no legal flux has. */
static void begin_anew(separator *s)
{
    s->phase = centre(s);
    s->speed = s->nominal;
    if (fault(s, NO_RELOCK) && s->windows > s->longest)
        s->stuck = true;
    if (fault(s, SPEED_RUNS_AWAY) && s->windows > s->longest) {
        s->speed = part(s->nominal, SLOWEST, NOMINAL);
        s->sluggish = true;
    }
    if (fault(s, LOCKS_TO_HARMONIC))
        s->speed = part(s->nominal, 3, 2);
    if (fault(s, DEAF_BEHIND_SHORT_INTERVAL) && s->windows < s->shortest)
        s->deaf_windows = 256;
}

static void correct(separator *s)
{
    int64_t phase_part = PHASE_PART, speed_part = SPEED_PART;
    if (fault(s, FIXED_THRESHOLD)) {
        phase_part = WHOLE;
        speed_part = 0;
    }
    if (fault(s, SPEED_NEVER_ADJUSTED)) {
        phase_part = WHOLE / 2;
        speed_part = 0;
    }
    if (fault(s, FOLLOWS_TOO_SLOWLY)) {
        phase_part = WHOLE / 8;
        speed_part = WHOLE / 64;
    }
    if (fault(s, SPEED_FROM_LAST_INTERVAL))
        phase_part = speed_part = WHOLE;

    int64_t error = s->phase - centre(s);
    int64_t per_window = error / s->windows;
    if (s->sluggish)
        per_window /= 256;
    s->phase -= part(error, phase_part, WHOLE);
    s->speed -= part(per_window, speed_part, WHOLE) * s->nominal / WINDOW;
    limit_speed(s);
}

void loop_transition(separator *s, uint64_t at_ns)
{
    loop_pass(s, at_ns);
    if (s->marked)
        return; /* two in one window are one */
    if (fault(s, DEAF_BEHIND_TRANSITION) && s->following
        && (s->now_ns - s->last_ns) * 100 < 92 * s->shortest * s->bit_ns)
        return;
    if (s->deaf_windows > 0)
        return;

    bool legal = s->windows >= s->shortest && s->windows <= s->longest;
    bool holds = s->stuck || (fault(s, PHASE_NEVER_ADJUSTED) && s->following);
    if (!s->following) {
        s->phase = centre(s);
        s->following = true;
    } else if (!holds) {
        if (legal)
            correct(s);
        else
            begin_anew(s);
    }
    s->marked = true;
    s->windows = 0;
    s->last_ns = s->now_ns;
}
