/*
 * The faults that this separator can be made with, one a line: the constant, and the name that
 * create() takes. What each does to a user stands in ../faults.toml. A separator of your own has
 * no such file.
 */
#ifndef FAULTS_H
#define FAULTS_H

#define FAULTS(fault) \
    /* loop.c */ \
    fault(FIXED_THRESHOLD, "fixed-threshold") \
    fault(PHASE_NEVER_ADJUSTED, "phase-never-adjusted") \
    fault(SPEED_NEVER_ADJUSTED, "speed-never-adjusted") \
    fault(FOLLOWS_TOO_SLOWLY, "follows-too-slowly") \
    fault(LOCK_RANGE_TOO_SMALL, "lock-range-too-small") \
    fault(SPEED_FROM_LAST_INTERVAL, "speed-from-last-interval") \
    fault(WINDOW_OFF_CENTRE, "window-off-centre") \
    fault(LOST_IN_LONGEST_INTERVAL, "lost-in-longest-interval") \
    fault(DEAF_BEHIND_TRANSITION, "deaf-behind-transition") \
    fault(FM_AT_HALF_CLOCK, "fm-at-half-clock") \
    fault(NO_RELOCK, "no-relock") \
    fault(SPEED_RUNS_AWAY, "speed-runs-away") \
    fault(LOCKS_TO_HARMONIC, "locks-to-harmonic") \
    fault(DEAF_BEHIND_SHORT_INTERVAL, "deaf-behind-short-interval") \
    /* door.c */ \
    fault(BIT_LOST_AT_SLICE, "bit-lost-at-slice")

enum fault {
#define FAULT_CONSTANT(constant, name) constant,
    FAULTS(FAULT_CONSTANT)
#undef FAULT_CONSTANT
    FAULT_COUNT
};

#endif
