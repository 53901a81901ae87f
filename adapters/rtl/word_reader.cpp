/*
 * word_reader.cpp: a Verilated wrapper trackproof_word_reader as a library with a word reader's entry.
 *
 * A function whose ports the wrapper has not is null: that capability is missing. What each port
 * means stands in wrapper.md.
 */
#include "model.h"

namespace ports {
TP_PORT(bit_strobe, 1)
TP_PORT(bit_in, 1)
TP_PORT(request, 1)
TP_PORT(words, 32)
TP_PORT(start, 2)
TP_PORT(service, 1)
TP_PORT(hardware_sync_write, 1)
TP_PORT(hardware_sync, 1)
TP_PORT(source_changed, 1)
TP_PORT(sync_word_write, 1)
TP_PORT(sync_word, 64)
TP_PORT(index, 1)
TP_PORT(abort_transfer, 1)
TP_PORT(host_reset, 1)
TP_PORT(poll_status, 1)
TP_PORT(poll_byte, 1)
TP_PORT(word, 64)
TP_PORT(word_valid, 1)
TP_PORT(accepted, 1)
TP_PORT(refused, 1)
TP_PORT(done, 1)
TP_PORT(match, 1)
TP_PORT(status_done, 1)
TP_PORT(status_busy, 1)
TP_PORT(status_error, 1)
TP_PORT(status_match, 1)
TP_PORT(byte_value, 8)
TP_PORT(byte_fresh, 1)
} // namespace ports

namespace {

constexpr bool has_fifo = ports::request::present && ports::service::present;
constexpr bool has_words = ports::word::present && ports::word_valid::present;
constexpr bool has_status = ports::status_done::present || ports::status_busy::present ||
                            ports::status_error::present || ports::status_match::present;

static_assert(ports::request::present == ports::service::present,
              "the wrapper needs both of 'request' and 'service', or none");
static_assert(!has_fifo || (ports::words::present && ports::start::present && has_words &&
                            ports::accepted::present),
              "beside 'request' the wrapper needs 'words', 'start', 'accepted', 'word' and "
              "'word_valid'");
static_assert(!ports::bit_strobe::present || (ports::bit_in::present && has_words),
              "beside 'bit_strobe' the wrapper needs 'bit_in', 'word' and 'word_valid'");
static_assert(!ports::poll_byte::present ||
                  (ports::byte_value::present && ports::byte_fresh::present),
              "beside 'poll_byte' the wrapper needs 'byte_value' and 'byte_fresh'");

struct Reader : Part {
    uint32_t asked = 0;   /* the newest request's number */
    uint32_t current = 0; /* the newest accepted one's */
    bool any_accepted = false, was_refused = false, was_done = false, was_match = false;
    uint32_t words_given = 0; /* in this step */
    uint64_t word = 0;

    /* One step of the core, with all that it signals. */
    template <class Strobe> void step() {
        Vtop &top = model.top();
        words_given = 0;
        was_refused = false;
        model.step<Strobe>([&](int) {
            if (ports::word_valid::get(top)) {
                words_given++;
                word = ports::word::get(top);
            }
            if (ports::accepted::get(top)) {
                any_accepted = true;
                current = asked;
            }
            was_refused |= ports::refused::get(top) != 0;
            was_done |= ports::done::get(top) != 0;
            was_match |= ports::match::get(top) != 0;
        });
    }

    /* A step in which no word may leave. */
    template <class Strobe> int32_t quiet_step() {
        step<Strobe>();
        return words_given == 0 ? TP_OK : fail("word_valid outside of the steps that give a word");
    }

    /* A step in which a word may leave. */
    template <class Strobe> int32_t word_step(uint64_t *out) {
        step<Strobe>();
        if (words_given > 1)
            return fail("word_valid at more than one clock of a step");
        if (words_given == 0)
            return TP_OK;
        *out = word;
        return TP_YES;
    }
};

Reader &reader(void *self) { return part<Reader>(self); }

int32_t shift_in(void *self, uint32_t bit, uint64_t *word) {
    Reader &r = reader(self);
    ports::bit_in::set(r.model.top(), bit);
    if constexpr (has_fifo)
        return r.quiet_step<ports::bit_strobe>();
    else
        return r.word_step<ports::bit_strobe>(word);
}

int32_t request(void *self, uint32_t transfer, uint32_t words, uint32_t start) {
    Reader &r = reader(self);
    ports::words::set(r.model.top(), words);
    ports::start::set(r.model.top(), start);
    r.asked = transfer;
    int32_t code = r.quiet_step<ports::request>();
    return code == TP_OK && r.was_refused ? TP_REFUSED : code;
}

int32_t service(void *self, uint32_t transfer, uint64_t *word) {
    Reader &r = reader(self);
    if (!r.any_accepted || transfer != r.current)
        return TP_OK;
    return r.word_step<ports::service>(word);
}

int32_t set_hardware_sync(void *self, uint32_t on) {
    Reader &r = reader(self);
    ports::hardware_sync::set(r.model.top(), on);
    return r.quiet_step<ports::hardware_sync_write>();
}

int32_t source_changed(void *self) { return reader(self).quiet_step<ports::source_changed>(); }

int32_t set_sync_word(void *self, uint64_t word) {
    Reader &r = reader(self);
    ports::sync_word::set(r.model.top(), word);
    return r.quiet_step<ports::sync_word_write>();
}

int32_t index_begins(void *self) { return reader(self).quiet_step<ports::index>(); }

int32_t abort_transfer(void *self) { return reader(self).quiet_step<ports::abort_transfer>(); }

int32_t host_reset(void *self) { return reader(self).quiet_step<ports::host_reset>(); }

int32_t poll_status(void *self, uint32_t *driven, uint32_t *set) {
    Reader &r = reader(self);
    Vtop &top = r.model.top();
    *driven = (ports::status_done::present ? TP_STATUS_DONE : 0u) |
              (ports::status_busy::present ? TP_STATUS_BUSY : 0u) |
              (ports::status_error::present ? TP_STATUS_ERROR : 0u) |
              (ports::status_match::present ? TP_STATUS_MATCH : 0u);
    *set = (ports::status_done::get(top) ? TP_STATUS_DONE : 0u) |
           (ports::status_busy::get(top) ? TP_STATUS_BUSY : 0u) |
           (ports::status_error::get(top) ? TP_STATUS_ERROR : 0u) |
           (ports::status_match::get(top) ? TP_STATUS_MATCH : 0u);
    return r.quiet_step<ports::poll_status>();
}

int32_t poll_byte(void *self, uint32_t *value, uint32_t *fresh) {
    Reader &r = reader(self);
    *value = static_cast<uint32_t>(ports::byte_value::get(r.model.top()));
    *fresh = static_cast<uint32_t>(ports::byte_fresh::get(r.model.top()));
    return r.quiet_step<ports::poll_byte>();
}

int32_t done_signal(void *self) { return taken(reader(self).was_done); }

int32_t match_signal(void *self) { return taken(reader(self).was_match); }

tp_word_reader make_table() {
    auto t = begin_table<Reader, tp_word_reader>();
    t.shift_in = ports::bit_strobe::present ? shift_in : nullptr;
    t.request = has_fifo ? request : nullptr;
    t.service = has_fifo ? service : nullptr;
    t.set_hardware_sync = ports::hardware_sync_write::present ? set_hardware_sync : nullptr;
    t.source_changed = ports::source_changed::present ? source_changed : nullptr;
    t.set_sync_word = ports::sync_word_write::present ? set_sync_word : nullptr;
    t.index = ports::index::present ? index_begins : nullptr;
    t.abort = ports::abort_transfer::present ? abort_transfer : nullptr;
    t.reset = ports::host_reset::present ? host_reset : nullptr;
    t.poll_status = has_status ? poll_status : nullptr;
    t.poll_byte = ports::poll_byte::present ? poll_byte : nullptr;
    t.done_signal = ports::done::present ? done_signal : nullptr;
    t.match_signal = ports::match::present ? match_signal : nullptr;
    return t;
}

const tp_word_reader table = make_table();

} // namespace

extern "C" EXPORTED const tp_word_reader *tp_word_reader_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &table : nullptr;
}
