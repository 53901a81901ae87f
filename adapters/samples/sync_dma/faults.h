/*
 * faults.h: the faults that the controller can be made with, by name. faults.toml beside this
 * folder says of each what a user would see. Every fault is one `if (fault(self, ...))`.
 */
#ifndef FAULTS_H
#define FAULTS_H

#define FAULTS(X)                                                 \
    X(COMPARATOR_STAYS_ON, "comparator-stays-on")                 \
    X(REALIGNS_ONCE, "realigns-once")                             \
    X(MATCH_DELIVERED_TWICE, "match-delivered-twice")             \
    X(LATE_AFTER_REALIGN, "late-after-realign")                   \
    X(EVEN_PHASE_ONLY, "even-phase-only")                         \
    X(STALE_FIRST_WORD, "stale-first-word")                       \
    X(SLIPS_AT_WRAP, "slips-at-wrap")                             \
    X(OUTPUT_DISTURBS_STATUS, "output-disturbs-status")           \
    X(OVERRUN_LOSES_HALF, "overrun-loses-half")                   \
    X(STATUS_OF_OTHER_DRIVE, "status-of-other-drive")             \
    X(BYTE_TORN, "byte-torn")                                     \
    X(EDGE_BYTE_UNFLAGGED, "edge-byte-unflagged")                 \
    X(WRAP_MATCH_MISSED, "wrap-match-missed")                     \
    X(SYNC_WORD_LATE, "sync-word-late")                           \
    X(WAITING_READ_STARTS_ITSELF, "waiting-read-starts-itself")   \
    X(FLAG_LAGS, "flag-lags")                                     \
    X(REGISTER_SURVIVES_SWITCH, "register-survives-switch")       \
    X(OVERLAP_IGNORED, "overlap-ignored")                         \
    X(ONE_WORD_SHORT, "one-word-short")                           \
    X(SWAPPED_WHEN_FULL, "swapped-when-full")                     \
    X(REARM_LOST, "rearm-lost")                                   \
    X(DONE_EARLY, "done-early")                                   \
    X(DONE_TWICE, "done-twice")                                   \
    X(WORD_AFTER_ABORT, "word-after-abort")                       \
    X(RESET_KEEPS_SYNC_WORD, "reset-keeps-sync-word")             \
    X(RESET_KEEPS_ENABLE, "reset-keeps-enable")                   \
    X(RESET_KEEPS_FIFO, "reset-keeps-fifo")                       \
    X(BYTE_FLAG_STAYS, "byte-flag-stays")                         \
    X(SEAM_DROPS_BIT, "seam-drops-bit")                           \
    X(BUSY_REQUEST_REPLACES, "busy-request-replaces")             \
    X(PAST_MATCH_STARTS, "past-match-starts")                     \
    X(POLL_STEALS_SERVICE, "poll-steals-service")                 \
    X(OTHER_MOTOR_RESTARTS_READY, "other-motor-restarts-ready")   \
    X(IMAGE_WITHOUT_CLOCK, "image-without-clock")                 \
    X(IMAGE_FORGETS_EACH_BYTE, "image-forgets-each-byte")         \
    X(IMAGE_FORGETS_AT_WRAP, "image-forgets-at-wrap")             \
    X(MARK_WITH_CLOCK, "mark-with-clock")                         \
    X(IMAGE_CHECK_WRONG, "image-check-wrong")                     \
    X(FIRST_WORD_LOST, "first-word-lost")                         \
    X(EXTRA_WORD, "extra-word")                                   \
    X(LAST_WORD_LOST, "last-word-lost")                           \
    X(LONE_ONE_DROPPED, "lone-one-dropped")                       \
    X(WRITES_DRIVE_BEFORE, "writes-drive-before")                 \
    X(WRITES_SIDE_BEFORE, "writes-side-before")                   \
    X(GATE_FINISHES_WORD, "gate-finishes-word")                   \
    X(PROTECT_IGNORED, "protect-ignored")                         \
    X(FLASHES_GATE, "flashes-gate")                               \
    X(UNDERRUN_HALF_WORD, "underrun-half-word")                   \
    X(FIRST_TURN_ONLY, "first-turn-only")                         \
    X(STALE_TURN, "stale-turn")                                   \
    X(LATE_AT_INDEX, "late-at-index")                             \
    X(LATE_AT_MATCH, "late-at-match")                             \
    X(ERASES_BEFORE_START, "erases-before-start")                 \
    X(RAW_MENDS_MARKS, "raw-mends-marks")                         \
    X(IMAGE_CLOCKS_ONES, "image-clocks-ones")                     \
    X(DAMAGES_NEXT_SYNC, "damages-next-sync")                     \
    X(IGNORES_SYNC_BIT, "ignores-sync-bit")                       \
    X(FIFO_WORD_SHORT, "fifo-word-short")                         \
    X(DEAF_BEHIND_ABORT, "deaf-behind-abort")                     \
    X(RESET_KEEPS_COUNTER, "reset-keeps-counter")                 \
    X(RESET_KEEPS_BYTE, "reset-keeps-byte")                       \
    X(RESET_KEEPS_ERROR, "reset-keeps-error")

#define FAULT_ENUM(id, name) FAULT_##id,

enum { FAULTS(FAULT_ENUM) FAULT_COUNT };

_Static_assert(FAULT_COUNT <= 64, "faults are the bits of one uint64_t");

#endif
