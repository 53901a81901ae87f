/*
 * vectors.c: conformance vectors for floppy controllers, and a program that runs them.
 *
 * Link it with a controller that exports tp_adapter_entry(), see trackproof.h, and start it. It
 * needs nothing else but a C99 compiler and its standard library:
 *
 *     cc -std=c99 vectors.c mycontroller.c -o check && ./check
 *
 * Arguments: what the controller's create() is to get, then the ids of the vectors to run; none:
 * all of them. Exit code: 0 every vector that could be run agrees, 1 one does not, 2 nothing was
 * judged.
 */
#include "trackproof.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a rule asks for, which bug it catches, and what that does to a user. */
typedef struct note {
    const char *rule, *says, *catches, *effect;
} note;

/* A word, byte or status. Bits that are 0 in `compared` are not compared. */
typedef struct wanted_item {
    uint64_t at_ns;
    uint32_t kind, transfer, flag;
    uint64_t value, compared;
} wanted_item;

/*
 * A signal that comes once, between two moments. They stand in the order of their last moments, so
 * that of two that overlap each finds its own.
 */
typedef struct wanted_signal {
    uint32_t kind, transfer;
    uint64_t from_ns, to_ns;
} wanted_signal;

/* A track after the run that has changed, or that is not compared where `unsure` is 1. */
typedef struct wanted_medium {
    uint32_t track;
    const uint8_t *content;
    const uint8_t *unsure;
} wanted_medium;

/* All that the host sees in one of the ways that are allowed. */
typedef struct outcome {
    uint32_t item_count;
    const wanted_item *items;
    uint32_t signal_count;
    const wanted_signal *signals;
    uint32_t medium_count;
    const wanted_medium *media;
} outcome;

/* The words of a write. */
typedef struct gift {
    uint32_t transfer;
    uint32_t count;
    const uint64_t *words;
} gift;

typedef struct vector {
    const char *id;
    uint32_t note;
    uint64_t needs;
    uint32_t drive_count;
    const tp_drive *drives;
    uint32_t track_count;
    const tp_track *tracks;
    const tp_form *forms;
    uint32_t event_count;
    const tp_event *events;
    uint32_t gift_count;
    const gift *gifts;
    uint32_t outcome_count;
    const outcome *outcomes;
} vector;

/* @tables@ */

#define COUNT_OF(list) (sizeof(list) / sizeof *(list))

/* More items than any right controller gives end a run. */
#define MOST_ITEMS 4096

/* Items that are shown of each side. */
#define SHOWN 8

/* Most tracks of a vector. */
#define MOST_TRACKS 64

/* What came back. */
static tp_item items[MOST_ITEMS];
static size_t item_count;
static uint8_t *media[MOST_TRACKS];

static const tp_adapter *adapter;
static uint64_t can;
static const char *running = "none";

/* A controller that dies says at least where. */
static void died(int number)
{
    fprintf(stderr, "\nvector %s: the controller ended with signal %d\n", running, number);
    fflush(stderr);
    _Exit(1);
}

static int is_signal(uint32_t kind)
{
    return kind == TP_ITEM_DONE || kind == TP_ITEM_REFUSED || kind == TP_ITEM_MATCH;
}

/* Whether the controller gives that signal at all. */
static int gives(uint32_t kind)
{
    int bit = TP_CAN_DONE_SIGNAL;
    if (kind == TP_ITEM_REFUSED) bit = TP_CAN_REFUSED_SIGNAL;
    if (kind == TP_ITEM_MATCH) bit = TP_CAN_MATCH_SIGNAL;
    return (int)(can >> bit & 1);
}

static int item_agrees(const wanted_item *want, const tp_item *got)
{
    uint64_t compared = want->compared;
    if (want->kind != got->kind || want->at_ns != got->at_ns) return 0;
    if (want->kind == TP_ITEM_STATUS) compared &= can >> TP_CAN_STATUS_DONE & 0x1ff;
    if (want->kind == TP_ITEM_BYTE && want->flag != got->flag) return 0;
    if (want->kind == TP_ITEM_WORD && want->transfer != got->transfer) return 0;
    return ((want->value ^ got->value) & compared) == 0;
}

/* The items that agree before the first that does not; all of them and one more if all do. */
static size_t items_that_agree(const outcome *way)
{
    size_t at = 0, n;
    for (n = 0; n < item_count; n++) {
        if (is_signal(items[n].kind)) continue;
        if (at == way->item_count || !item_agrees(&way->items[at], &items[n])) return at;
        at++;
    }
    return at < way->item_count ? at : at + 1;
}

/* Whether a signal is missing, or came unasked. */
static int wrong_signals(const outcome *way)
{
    static unsigned char taken[MOST_ITEMS];
    size_t n, m;
    memset(taken, 0, sizeof taken);
    for (n = 0; n < item_count; n++) {
        const tp_item *got = &items[n];
        if (!is_signal(got->kind) || !gives(got->kind)) continue;
        for (m = 0; m < way->signal_count; m++) {
            const wanted_signal *want = &way->signals[m];
            if (!taken[m] && want->kind == got->kind && want->from_ns <= got->at_ns &&
                got->at_ns <= want->to_ns &&
                (got->kind != TP_ITEM_REFUSED || want->transfer == got->transfer))
                break;
        }
        if (m == way->signal_count) return 1;
        taken[m] = 1;
    }
    for (m = 0; m < way->signal_count; m++)
        if (!taken[m] && gives(way->signals[m].kind)) return 1;
    return 0;
}

static int bit_of(const uint8_t *bytes, uint32_t bit)
{
    return bytes[bit / 8] >> (7 - bit % 8) & 1;
}

/* The first bit of a medium that is wrong, and its track; -1 for none. */
static long wrong_bit(const vector *v, const outcome *way, uint32_t *track)
{
    if (!(can >> TP_CAN_MEDIA & 1)) return -1;
    for (*track = 0; *track < v->track_count; ++*track) {
        const uint8_t *content = v->tracks[*track].bytes, *unsure = NULL;
        uint32_t bit, n;
        for (n = 0; n < way->medium_count; n++) {
            if (way->media[n].track != *track) continue;
            content = way->media[n].content;
            unsure = way->media[n].unsure;
        }
        for (bit = 0; bit < v->tracks[*track].bit_count; bit++)
            if (!(unsure && bit_of(unsure, bit)) &&
                bit_of(content, bit) != bit_of(media[*track], bit))
                return (long)bit;
    }
    return -1;
}

static void print_value(uint32_t kind, uint32_t transfer, uint32_t flag, uint64_t value)
{
    unsigned long long number = (unsigned long long)value;
    switch (kind) {
    case TP_ITEM_WORD: printf("word %04llx of transfer %u", number, (unsigned)transfer); break;
    case TP_ITEM_BYTE: printf("byte %02llx %s", number, flag ? "new" : "seen before"); break;
    case TP_ITEM_STATUS: printf("status %03llx", number); break;
    case TP_ITEM_DONE: printf("done"); break;
    case TP_ITEM_REFUSED: printf("transfer %u refused", (unsigned)transfer); break;
    case TP_ITEM_MATCH: printf("match signal"); break;
    default: printf("an item of unknown kind %u", (unsigned)kind);
    }
}

static void print_got(const tp_item *got)
{
    printf("    got       %12llu ns  ", (unsigned long long)got->at_ns);
    print_value(got->kind, got->transfer, got->flag, got->value);
    printf("\n");
}

static void print_wanted(const wanted_item *want)
{
    printf("    expected  %12llu ns  ", (unsigned long long)want->at_ns);
    print_value(want->kind, want->transfer, want->flag, want->value);
    printf(" (compared: %llx)\n", (unsigned long long)want->compared);
}

/* Both sides from the first item that differs on. */
static void print_items(const outcome *way, size_t from)
{
    size_t at = 0, shown = 0, n;
    for (n = from; n < way->item_count && n < from + SHOWN; n++) print_wanted(&way->items[n]);
    if (n == from) printf("    expected  nothing more\n");
    for (n = 0; n < item_count && shown < SHOWN; n++) {
        if (is_signal(items[n].kind)) continue;
        if (at++ < from) continue;
        print_got(&items[n]);
        shown++;
    }
    if (shown == 0) printf("    got       nothing more\n");
}

static void print_signals(const outcome *way)
{
    size_t n;
    for (n = 0; n < way->signal_count; n++) {
        const wanted_signal *want = &way->signals[n];
        printf("    expected  ");
        print_value(want->kind, want->transfer, 0, 0);
        printf(" from %llu to %llu ns\n", (unsigned long long)want->from_ns,
               (unsigned long long)want->to_ns);
    }
    if (way->signal_count == 0) printf("    expected  no signal\n");
    for (n = 0; n < item_count; n++)
        if (is_signal(items[n].kind)) print_got(&items[n]);
}

static void print_bits(const char *side, const uint8_t *bytes, uint32_t from, uint32_t count)
{
    uint32_t bit;
    printf("    %-9s bits from %u: ", side, (unsigned)from);
    for (bit = from; bit < count && bit < from + 64; bit++) putchar('0' + bit_of(bytes, bit));
    printf("\n");
}

static void print_medium(const vector *v, const outcome *way, uint32_t track, uint32_t bit)
{
    const tp_track *of = &v->tracks[track];
    const uint8_t *content = of->bytes;
    uint32_t n, from = bit < 16 ? 0 : bit - 16;
    for (n = 0; n < way->medium_count; n++)
        if (way->media[n].track == track) content = way->media[n].content;
    printf("    the medium of drive %u, cylinder %u, side %u differs first at bit %u\n",
           (unsigned)of->drive, (unsigned)of->cylinder, (unsigned)of->side, (unsigned)bit);
    print_bits("expected", content, from, of->bit_count);
    print_bits("got", media[track], from, of->bit_count);
}

/* Whether what came back is allowed; says what is wrong where it is not. */
static int judge(const vector *v)
{
    const outcome *nearest = &v->outcomes[0];
    size_t most = 0;
    uint32_t n, track;
    long bit;
    for (n = 0; n < v->outcome_count; n++) {
        const outcome *way = &v->outcomes[n];
        size_t agreed = items_that_agree(way) * 4;
        if (items_that_agree(way) > way->item_count) {
            int signals = !wrong_signals(way), tracks = wrong_bit(v, way, &track) < 0;
            if (signals && tracks) return 1;
            agreed += signals ? 2 : tracks ? 1 : 0;
        }
        if (agreed > most) {
            most = agreed;
            nearest = way;
        }
    }
    printf("FAILED %s\n", v->id);
    if (v->outcome_count > 1)
        printf("    the nearest of %u observations that are allowed:\n", (unsigned)v->outcome_count);
    if (items_that_agree(nearest) <= nearest->item_count) {
        print_items(nearest, items_that_agree(nearest));
    } else if (wrong_signals(nearest)) {
        print_signals(nearest);
    } else {
        bit = wrong_bit(v, nearest, &track);
        print_medium(v, nearest, track, (uint32_t)bit);
    }
    printf("    there for %s: %s\n", notes[v->note].rule, notes[v->note].says);
    printf("    catches   %s\n    effect    %s\n", notes[v->note].catches, notes[v->note].effect);
    return 0;
}

static int refuse(const vector *v, void *self, const char *call)
{
    const char *why = adapter->last_error ? adapter->last_error(self) : NULL;
    printf("FAILED %s\n    %s did not succeed: %s\n", v->id, call, why ? why : "no reason given");
    return 0;
}

/* Whether items are in the order of time, as the interface asks. */
static int in_order(const vector *v)
{
    size_t n;
    for (n = 1; n < item_count; n++) {
        if (items[n - 1].at_ns <= items[n].at_ns) continue;
        printf("FAILED %s\n    time goes back from %llu ns to %llu ns; drain() gives items in the "
               "order of time\n", v->id, (unsigned long long)items[n - 1].at_ns,
               (unsigned long long)items[n].at_ns);
        return 0;
    }
    return 1;
}

/* Takes all items that wait. */
static int drain(const vector *v, void *self)
{
    int32_t code;
    do {
        uint64_t count = 0;
        code = adapter->drain(self, items + item_count, MOST_ITEMS - item_count, &count);
        if (code != TP_OK && code != TP_MORE) return refuse(v, self, "drain()");
        if (count > MOST_ITEMS - item_count || (code == TP_MORE && count == 0)) {
            printf("FAILED %s\n    drain() gives more than %d items, or none and TP_MORE\n", v->id,
                   MOST_ITEMS);
            return 0;
        }
        item_count += (size_t)count;
    } while (code == TP_MORE);
    return 1;
}

/* Runs a case on a controller: events up to each write, then its words, then the rest. */
static int live_through(const vector *v, void *self)
{
    tp_profile profile;
    tp_setup setup;
    static const uint64_t no_words[1] = {0};
    uint32_t from = 0, n, m;
    profile.count = (uint32_t)COUNT_OF(profile_values);
    profile.reserved = 0;
    profile.values = profile_values;
    memset(&setup, 0, sizeof setup);
    setup.struct_size = (uint32_t)sizeof setup;
    setup.drive_count = v->drive_count;
    setup.profile = &profile;
    setup.drives = v->drives;
    setup.tracks = v->tracks;
    setup.track_count = v->track_count;
    setup.forms = v->forms;
    item_count = 0;
    if (adapter->power_up(self, &setup) != TP_OK) return refuse(v, self, "power_up()");
    for (n = 0; n <= v->event_count; n++) {
        if (n < v->event_count && v->events[n].kind != TP_WRITE) continue;
        if (n > from) {
            if (adapter->run(self, v->events + from, n - from) != TP_OK)
                return refuse(v, self, "run()");
            if (!drain(v, self)) return 0;
        }
        from = n;
        for (m = 0; n < v->event_count && m < v->gift_count; m++) {
            const gift *given = &v->gifts[m];
            const uint64_t *words = given->words ? given->words : no_words;
            if (given->transfer == v->events[n].transfer &&
                adapter->give(self, given->transfer, words, given->count) != TP_OK)
                return refuse(v, self, "give()");
        }
    }
    for (n = 0; can >> TP_CAN_MEDIA & 1 && n < v->track_count; n++) {
        const tp_track *of = &v->tracks[n];
        uint64_t size = (of->bit_count + 7) / 8;
        free(media[n]);
        media[n] = calloc((size_t)size + 1, 1);
        if (media[n] == NULL) return refuse(v, self, "calloc()");
        if (adapter->show(self, of->drive, of->cylinder, of->side, media[n], size) != TP_OK)
            return refuse(v, self, "show()");
    }
    return 1;
}

/* Runs a vector on a controller that is new: 1 agrees, 0 does not, -1 cannot be run. */
static int run_vector(const vector *v, const char *options)
{
    void *self = adapter->create(options);
    int agrees;
    if (self == NULL) return refuse(v, NULL, "create()");
    agrees = live_through(v, self) && in_order(v) && judge(v);
    adapter->destroy(self);
    return agrees;
}

/* Whether the controller has the profile that the vectors are for. */
static int has_the_profile(void *self)
{
    int64_t values[COUNT_OF(profile_values)];
    size_t n;
    int same = 1;
    memcpy(values, profile_values, sizeof values);
    if (adapter->profile == NULL) return 1;
    if (adapter->profile(self, values, (uint32_t)COUNT_OF(values)) != TP_OK) return 1;
    for (n = 0; n < COUNT_OF(values); n++) {
        if (values[n] == profile_values[n]) continue;
        fprintf(stderr, "the controller has the profile key %s = %lld, the vectors are for %lld\n",
                profile_keys[n], (long long)values[n], (long long)profile_values[n]);
        same = 0;
    }
    return same;
}

/* Opens the controller and asks what it can do. */
static int open_controller(const char *options)
{
    void *self;
    int same;
    adapter = tp_adapter_entry(TP_ABI_MAJOR);
    if (adapter == NULL || adapter->abi_major != TP_ABI_MAJOR) {
        fprintf(stderr, "tp_adapter_entry() gives no table of major number %d\n", TP_ABI_MAJOR);
        return 0;
    }
    if (adapter->struct_size < sizeof *adapter) {
        fprintf(stderr, "the controller's table has %u bytes; compile it with the trackproof.h that "
                "stands beside vectors.c, whose table has %u\n",
                (unsigned)adapter->struct_size, (unsigned)sizeof *adapter);
        return 0;
    }
    self = adapter->create(options);
    if (self == NULL) {
        const char *why = adapter->last_error ? adapter->last_error(NULL) : NULL;
        fprintf(stderr, "create() gives no controller: %s\n", why ? why : "no reason given");
        return 0;
    }
    can = adapter->capabilities(self);
    if (adapter->give == NULL) can &= ~(UINT64_C(1) << TP_CAN_WRITE);
    if (adapter->show == NULL) can &= ~(UINT64_C(1) << TP_CAN_MEDIA);
    same = has_the_profile(self);
    adapter->destroy(self);
    return same;
}

static int is_wanted(const char *id, int count, char **ids)
{
    int n;
    for (n = 0; n < count; n++)
        if (strcmp(ids[n], id) == 0) return 1;
    return count == 0;
}

int main(int argc, char **argv)
{
    const char *options = argc > 1 && argv[1][0] != '\0' ? argv[1] : NULL;
    int ids = argc > 2 ? argc - 2 : 0;
    unsigned agree = 0, differ = 0, skipped = 0;
    size_t n;
    if (!open_controller(options)) return 2;
    signal(SIGSEGV, died);
    signal(SIGABRT, died);
    signal(SIGFPE, died);
    signal(SIGILL, died);
    for (n = 0; n < VECTOR_COUNT; n++) {
        const vector *v = &vectors[n];
        if (!is_wanted(v->id, ids, argv + 2)) continue;
        if (v->needs & ~can) {
            skipped++;
            continue;
        }
        running = v->id;
        if (run_vector(v, options)) agree++;
        else differ++;
        fflush(stdout);
    }
    printf("%u of %u vectors agree, %u do not; %u more were not run, the controller cannot do what "
           "they need\n", agree, agree + differ, differ, skipped);
    if (differ > 0) return 1;
    return agree > 0 ? 0 : 2;
}
