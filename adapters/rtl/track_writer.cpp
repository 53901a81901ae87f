/*
 * track_writer.cpp: a Verilated wrapper trackproof_track_writer as a library with a track writer's
 * entry.
 *
 * A function whose ports the wrapper has not is null: that capability is missing. What each port
 * means stands in wrapper.md.
 */
#include "model.h"

namespace ports {
TP_PORT(cell_begin, 1)
TP_PORT(cell_end, 1)
TP_PORT(index, 1)
TP_PORT(write_gate, 1)
TP_PORT(write_bit, 1)
TP_PORT(request, 1)
TP_PORT(words, 32)
TP_PORT(start, 2)
TP_PORT(write_protected, 1)
TP_PORT(offer, 1)
TP_PORT(word, 64)
TP_PORT(word_taken, 1)
TP_PORT(abort_transfer, 1)
TP_PORT(host_reset, 1)
TP_PORT(busy, 1)
TP_PORT(done, 1)
} // namespace ports

namespace {

static_assert(!ports::cell_begin::present ||
                  (ports::write_gate::present && ports::write_bit::present),
              "beside 'cell_begin' the wrapper needs 'write_gate' and 'write_bit'");
static_assert(!ports::request::present || (ports::words::present && ports::start::present),
              "beside 'request' the wrapper needs 'words' and 'start'");
static_assert(!ports::offer::present || (ports::word::present && ports::word_taken::present),
              "beside 'offer' the wrapper needs 'word' and 'word_taken'");

struct Writer : Part {
    uint32_t current = 0; /* the newest write's number */
    bool any_write = false, was_taken = false, was_done = false;
    bool gate = false, bit = false; /* at the last clock of the step */

    template <class Strobe> int32_t step() {
        Vtop &top = model.top();
        was_taken = false;
        model.step<Strobe>([&](int) {
            was_taken |= ports::word_taken::get(top) != 0;
            was_done |= ports::done::get(top) != 0;
            gate = ports::write_gate::get(top) != 0;
            bit = ports::write_bit::get(top) != 0;
        });
        return TP_OK;
    }
};

Writer &writer(void *self) { return part<Writer>(self); }

int32_t write(void *self, uint32_t transfer, uint32_t words, uint32_t start,
              uint32_t write_protected) {
    Writer &w = writer(self);
    ports::words::set(w.model.top(), words);
    ports::start::set(w.model.top(), start);
    ports::write_protected::set(w.model.top(), write_protected);
    w.current = transfer;
    w.any_write = true;
    return w.step<ports::request>();
}

int32_t offer(void *self, uint32_t transfer, uint64_t word) {
    Writer &w = writer(self);
    if (!w.any_write || transfer != w.current)
        return TP_OK;
    ports::word::set(w.model.top(), word);
    w.step<ports::offer>();
    return w.was_taken ? TP_YES : TP_OK;
}

int32_t begin_cell(void *self, uint32_t *bit) {
    Writer &w = writer(self);
    w.step<ports::cell_begin>();
    *bit = w.gate && w.bit;
    return w.gate ? TP_YES : TP_OK;
}

int32_t is_busy(void *self) {
    return ports::busy::get(writer(self).model.top()) ? TP_YES : TP_OK;
}

int32_t end_cell(void *self) { return writer(self).step<ports::cell_end>(); }

int32_t index_begins(void *self) { return writer(self).step<ports::index>(); }

int32_t abort_transfer(void *self) { return writer(self).step<ports::abort_transfer>(); }

int32_t host_reset(void *self) { return writer(self).step<ports::host_reset>(); }

int32_t done_signal(void *self) { return taken(writer(self).was_done); }

tp_track_writer make_table() {
    auto t = begin_table<Writer, tp_track_writer>();
    t.write = ports::request::present ? write : nullptr;
    t.offer = ports::offer::present ? offer : nullptr;
    t.begin_cell = ports::cell_begin::present ? begin_cell : nullptr;
    t.is_busy = ports::busy::present ? is_busy : nullptr;
    t.end_cell = ports::cell_end::present ? end_cell : nullptr;
    t.index = ports::index::present ? index_begins : nullptr;
    t.abort = ports::abort_transfer::present ? abort_transfer : nullptr;
    t.reset = ports::host_reset::present ? host_reset : nullptr;
    t.done_signal = ports::done::present ? done_signal : nullptr;
    return t;
}

const tp_track_writer table = make_table();

} // namespace

extern "C" EXPORTED const tp_track_writer *tp_track_writer_entry(uint32_t abi_major) {
    return abi_major == TP_ABI_MAJOR ? &table : nullptr;
}
