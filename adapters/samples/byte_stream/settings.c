/*
 * Which profiles the controller takes: any, but for the choices that its parts do not have. Those
 * it refuses at power-up, in words.
 */
#include "controller.h"
#include <stdlib.h>

/* A choice that this controller does not have. */
typedef struct refusal {
    int key;
    int64_t value;
    const char *why;
} refusal;

static const refusal refusals[] = {
    {TP_KEY_WRITE_UNIT, 0, "write_unit = channel-words: the serialiser always makes clock bits"},
    {TP_KEY_PARTIAL, PARTIAL_FINISH, "partial = finish: there is one word counter only"},
    {TP_KEY_TAIL_PULSE, 1, "tail_pulse = yes: no pulse follows the last one"},
};

int32_t settings_take(controller *c, const tp_profile *profile) {
    if (profile->count < TP_KEY_COUNT)
        return fail(c, "a profile of %u keys; this controller needs %d", profile->count,
                    TP_KEY_COUNT);
    for (int key = 0; key < TP_KEY_COUNT; key++)
        c->choice[key] = profile->values[key];
    for (size_t i = 0; i < sizeof refusals / sizeof *refusals; i++)
        if (is(c, refusals[i].key, refusals[i].value))
            return fail(c, "this controller has no %s", refusals[i].why);
    if (c->choice[TP_KEY_SLACK_MIN] > 0)
        return fail(c, "this controller has no slack_min = %lld: it accepts a request at once",
                    (long long)c->choice[TP_KEY_SLACK_MIN]);
    if (c->choice[TP_KEY_GATE_LEAD] > c->choice[TP_KEY_MATCH_TO_WRITE])
        return fail(c, "gate_lead %lld is longer than match_to_write %lld: the gate would open "
                       "before the match",
                    (long long)c->choice[TP_KEY_GATE_LEAD],
                    (long long)c->choice[TP_KEY_MATCH_TO_WRITE]);
    c->word_bits = (unsigned)c->choice[TP_KEY_WORD_BITS];
    c->register_bits = (unsigned)c->choice[TP_KEY_REGISTER_BITS];
    c->bit_ns = (uint64_t)c->choice[TP_KEY_CHANNEL_BIT_NS];
    if (c->bit_ns == 0 || c->register_bits == 0 || c->register_bits > WIDEST ||
        c->word_bits < 8 || c->word_bits > 32)
        return fail(c, "channel_bit_ns %llu, register_bits %u, word_bits %u: at least 1, 1 to %d, "
                       "8 to 32",
                    (unsigned long long)c->bit_ns, c->register_bits, c->word_bits, WIDEST);
    size_t depth = (size_t)c->choice[TP_KEY_FIFO_WORDS];
    free(c->fifo.words);
    c->fifo = (fifo){.words = calloc(depth, sizeof *c->fifo.words), .depth = depth};
    if (depth == 0 || !c->fifo.words)
        return fail(c, "no room for a FIFO of %zu words", depth);
    return TP_OK;
}
