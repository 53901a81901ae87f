/*
 * model.h: a Verilated wrapper as trackproof drives it: ports that may be missing, clock edges, power.
 *
 * What the ports mean stands in wrapper.md; word_reader.cpp and track_writer.cpp make a part of it.
 */
#ifndef TRACKPROOF_RTL_MODEL_H
#define TRACKPROOF_RTL_MODEL_H

#include "Vtop.h"
#include "trackproof.h"
#include "verilated.h"

#include <cstdint>
#include <cstdio>
#include <memory>
#include <new>
#include <type_traits>
#include <utility>

/* The entry alone leaves the library: two cores in one process have models of the same name. */
#define EXPORTED __attribute__((visibility("default")))

/* Rising edges of the clock for everything that happens to the core. */
#ifndef TP_CLOCKS
#define TP_CLOCKS 8
#endif
static_assert(TP_CLOCKS >= 2, "a step is at least 2 clocks");

/*
 * A port of the top module, of 1, 8, 32 or 64 bits. One that is not there can be set, to no effect,
 * and reads as 0; `present` tells which it is.
 */
#define TP_PORT(port, bits)                                                                        \
    template <class Top, class = void> struct port##_port {                                        \
        static constexpr bool present = false;                                                     \
        static void set(Top &, uint64_t) {}                                                        \
        static uint64_t get(Top &) { return 0; }                                                   \
    };                                                                                             \
    template <class Top> struct port##_port<Top, std::void_t<decltype(std::declval<Top &>().port)>> { \
        using Type = std::decay_t<decltype(std::declval<Top &>().port)>;                           \
        static_assert(sizeof(Type) == (bits <= 8 ? 1 : bits / 8),                                  \
                      "the wrapper's port '" #port "' has to be of " #bits " bit(s)");             \
        static constexpr bool present = true;                                                      \
        static void set(Top &top, uint64_t value) { top.port = static_cast<Type>(value); }         \
        static uint64_t get(Top &top) { return top.port; }                                         \
    };                                                                                             \
    using port = port##_port<Vtop>;

/* What configures a core, as inputs of 64 bits: key_counter, key_fifo_words, ... */
#define TP_KEYS(KEY)                                                                               \
    KEY(key_recording, TP_KEY_RECORDING)                                                           \
    KEY(key_channel_bit_ns, TP_KEY_CHANNEL_BIT_NS)                                                 \
    KEY(key_register_bits, TP_KEY_REGISTER_BITS)                                                   \
    KEY(key_word_bits, TP_KEY_WORD_BITS)                                                           \
    KEY(key_sync_mask, TP_KEY_SYNC_MASK)                                                           \
    KEY(key_start_match, TP_KEY_START_MATCH)                                                       \
    KEY(key_aligned_match, TP_KEY_ALIGNED_MATCH)                                                   \
    KEY(key_misaligned_match, TP_KEY_MISALIGNED_MATCH)                                             \
    KEY(key_partial, TP_KEY_PARTIAL)                                                               \
    KEY(key_realign, TP_KEY_REALIGN)                                                               \
    KEY(key_refractory, TP_KEY_REFRACTORY)                                                         \
    KEY(key_counter, TP_KEY_COUNTER)                                                               \
    KEY(key_flag_when_off, TP_KEY_FLAG_WHEN_OFF)                                                   \
    KEY(key_sync_on_live, TP_KEY_SYNC_ON_LIVE)                                                     \
    KEY(key_sync_off_waiting, TP_KEY_SYNC_OFF_WAITING)                                             \
    KEY(key_flag, TP_KEY_FLAG)                                                                     \
    KEY(key_straddle, TP_KEY_STRADDLE)                                                             \
    KEY(key_byte, TP_KEY_BYTE)                                                                     \
    KEY(key_fifo_words, TP_KEY_FIFO_WORDS)                                                         \
    KEY(key_overrun, TP_KEY_OVERRUN)                                                               \
    KEY(key_underrun, TP_KEY_UNDERRUN)                                                             \
    KEY(key_error_flag, TP_KEY_ERROR_FLAG)                                                         \
    KEY(key_read_done, TP_KEY_READ_DONE)                                                           \
    KEY(key_write_done, TP_KEY_WRITE_DONE)                                                         \
    KEY(key_start_busy, TP_KEY_START_BUSY)                                                         \
    KEY(key_zero_words, TP_KEY_ZERO_WORDS)                                                         \
    KEY(key_max_words, TP_KEY_MAX_WORDS)                                                           \
    KEY(key_read_join, TP_KEY_READ_JOIN)                                                           \
    KEY(key_write_join, TP_KEY_WRITE_JOIN)                                                         \
    KEY(key_reset_clears_register, TP_KEY_RESET_CLEARS_REGISTER)                                   \
    KEY(key_write_unit, TP_KEY_WRITE_UNIT)                                                         \
    KEY(key_first_context, TP_KEY_FIRST_CONTEXT)                                                   \
    KEY(key_gate_lead, TP_KEY_GATE_LEAD)                                                           \
    KEY(key_index_edge, TP_KEY_INDEX_EDGE)                                                         \
    KEY(key_lost_tail, TP_KEY_LOST_TAIL)                                                           \
    KEY(key_tail_pulse, TP_KEY_TAIL_PULSE)                                                         \
    KEY(key_checks_protect, TP_KEY_CHECKS_PROTECT)

namespace ports {
TP_PORT(clock, 1)
TP_PORT(reset, 1)
#define TP_KEY_PORT(port, key) TP_PORT(port, 64)
TP_KEYS(TP_KEY_PORT)
#undef TP_KEY_PORT
} // namespace ports

static_assert(ports::clock::present, "the wrapper needs an input 'clock'");
static_assert(ports::reset::present, "the wrapper needs an input 'reset'");

/* Whether the core takes its profile from inputs; it declares the one that it has otherwise. */
#define TP_KEY_PRESENT(port, key) || ports::port::present
constexpr bool takes_profile = false TP_KEYS(TP_KEY_PRESENT);
#undef TP_KEY_PRESENT

/* One core under power, and its clock. */
class Model {
  public:
    /* Power comes on: a new core, as its initial blocks leave it, is held in reset for a step. */
    void power_up(const tp_profile *profile) {
        /* A context of its own would make a model a hundred times as dear. */
        static thread_local auto shared = std::make_shared<VerilatedContext>();
        top_.reset();
        context_ = shared;
        top_ = std::make_unique<Vtop>(context_.get());
        ports::clock::set(*top_, 0);
        configure(profile);
        top_->eval();
        ports::reset::set(*top_, 1);
        clocks();
        ports::reset::set(*top_, 0);
        clocks();
    }

    Vtop &top() { return *top_; }

    /*
     * A step: TP_CLOCKS rising edges with the strobe's input high at the first one. `sample` is
     * called right before each edge, with its number, as a flip-flop of the same clock would see the
     * outputs.
     */
    template <class Strobe, class Sample> void step(Sample &&sample) {
        Strobe::set(*top_, 1);
        for (int edge = 0; edge < TP_CLOCKS; edge++) {
            top_->eval();
            sample(edge);
            ports::clock::set(*top_, 1);
            top_->eval();
            ports::clock::set(*top_, 0);
            Strobe::set(*top_, 0);
        }
        top_->eval();
    }

  private:
    struct NoStrobe {
        static void set(Vtop &, uint64_t) {}
    };

    void clocks() {
        step<NoStrobe>([](int) {});
    }

    void configure(const tp_profile *profile) {
        if (!profile)
            return;
#define TP_KEY_SET(port, key)                                                                      \
    if (key < profile->count)                                                                      \
        ports::port::set(*top_, static_cast<uint64_t>(profile->values[key]));
        TP_KEYS(TP_KEY_SET)
#undef TP_KEY_SET
    }

    std::shared_ptr<VerilatedContext> context_; /* outlives the model */
    std::unique_ptr<Vtop> top_;
};

/* The profile that the core has: sync-dma, but for what the user's own file sets. */
inline int32_t declare_profile(void *, int64_t *values, uint32_t count) {
    (void)values;
    (void)count;
#ifdef TP_PROFILE
#include TP_PROFILE
#endif
    return TP_OK;
}

/* What is common to the parts: a core, and why the last call failed. */
struct Part {
    Model model;
    const char *why = nullptr;
    int32_t fail(const char *reason) {
        why = reason;
        return TP_FAIL;
    }
};

inline const char *part_last_error(void *self) {
    return self ? static_cast<Part *>(self)->why : "out of memory";
}

template <class P> P &part(void *self) { return *static_cast<P *>(static_cast<Part *>(self)); }

template <class P> void *create_part(const char *) {
    return static_cast<Part *>(new (std::nothrow) P);
}

template <class P> void destroy_part(void *self) { delete &part<P>(self); }

template <class P> int32_t power_up_part(void *self, const tp_profile *profile) {
    part<P>(self) = P();
    part<P>(self).model.power_up(profile);
    return TP_OK;
}

/* A part's table with what all of them have. */
template <class P, class Table> Table begin_table() {
    Table t = {};
    t.struct_size = sizeof t;
    t.abi_major = TP_ABI_MAJOR;
    t.abi_minor = TP_ABI_MINOR;
    t.name = TP_NAME;
    t.create = create_part<P>;
    t.destroy = destroy_part<P>;
    t.last_error = part_last_error;
    t.profile = takes_profile ? nullptr : declare_profile;
    t.power_up = power_up_part<P>;
    return t;
}

/* Whether a pulse has come since this was asked last. */
inline int32_t taken(bool &signal) { return std::exchange(signal, false) ? TP_YES : TP_OK; }

#endif
