/*
 * The faults that this controller can be made with, one a line: the constant, and the name that
 * create() takes. What each does to a user stands in ../faults.toml. A controller of your own has
 * no such file.
 */
#ifndef FAULTS_H
#define FAULTS_H

#define FAULTS(fault) \
    /* encoder.c */ \
    fault(CONTEXT_LOST_EACH_BYTE, "context-lost-each-byte") \
    fault(CONTEXT_LOST_BEHIND_MARK, "context-lost-behind-mark") \
    fault(JOINED_WRITE_FORGETS, "joined-write-forgets") \
    fault(LOW_HALF_EXCHANGED, "low-half-exchanged") \
    fault(FM_CLOCK_MISSING, "fm-clock-missing") \
    fault(MARK_CLOCK_OFF_BY_ONE, "mark-clock-off-by-one") \
    /* writer.c */ \
    fault(CLOSES_BYTE_LATE, "closes-byte-late") \
    fault(MATCH_WRITE_EARLY, "match-write-early") \
    /* reader.c */ \
    fault(BYTE_OF_CLOCK_BITS, "byte-of-clock-bits") \
    fault(BYTE_IGNORES_SYNC, "byte-ignores-sync") \
    fault(UNREAD_BYTE_KEPT, "unread-byte-kept") \
    fault(START_WORD_DROPPED, "start-word-dropped") \
    /* host.c */ \
    fault(STATUS_TAKES_BYTE_FLAG, "status-takes-byte-flag") \
    fault(MATCH_FLAG_STAYS, "match-flag-stays") \
    /* transfer.c */ \
    fault(READ_KEEPS_PHASE, "read-keeps-phase") \
    fault(OVERRUN_LOSES_NEW, "overrun-loses-new") \
    fault(ERROR_BIT_STAYS, "error-bit-stays") \
    fault(REFUSES_SILENTLY, "refuses-silently") \
    fault(REFUSED_WRITE_DONE, "refused-write-done")

enum fault {
#define FAULT_CONSTANT(constant, name) constant,
    FAULTS(FAULT_CONSTANT)
#undef FAULT_CONSTANT
    FAULT_COUNT
};

#endif
