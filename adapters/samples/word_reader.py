#!/usr/bin/env python3
"""A reading controller in Python: register, comparator, word counter, FIFO, byte port, status.

    trackproof check "cmd:python3 adapters/samples/word_reader.py"
    trackproof check "cmd:python3 adapters/samples/word_reader.py --fault window-late"
    python3 adapters/samples/word_reader.py --faults

It takes any profile without a slack of its own. It was written from the text of semantics and the
profiles' sentences, by a hand that had seen neither the model nor another sample; numbers in
comments cite the text. Where that leaves a span, it acts at once.

`--fault NAME` makes it wrong in one way, each an `if` on a name below. Their rules were written down
before it was run with any of them.
"""

import json
import os
import sys
from collections import deque

sys.path.insert(
    0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "process", "python")
)
from trackproof_child import CannotRun, WordReader, run  # noqa: E402

FAULTS = {
    "window-late": (
        "Every read that waited for a sync word begins one channel bit late, and so does each of "
        "its words.",
        ["sync.phase", "sync.start"],
    ),
    "deaf-while-late": (
        "When the host was late and a word is lost, the next word begins half a word late.",
        ["transfer.stall"],
    ),
    "abort-keeps-words": (
        "Words that waited when a read was aborted are the first ones of the next read.",
        ["raw.fresh", "transfer.quiet"],
    ),
    "low-byte-of-old-sync": (
        "A changed sync word is taken over only in its high byte.",
        ["sync.change", "sync.start", "sync.none"],
    ),
    "matches-over-sources": (
        "The comparator goes on over a change of drive, side or cylinder, and finds sync words that "
        "are on no track.",
        ["sync.source"],
    ),
    "first-realign-only": (
        "Only the first sync word off a word boundary puts the words of a read into place.",
        ["sync.realign"],
    ),
    "done-a-word-early": (
        "Completion is signalled when the last word but one is taken.",
        ["transfer.done"],
    ),
    "flag-until-read": (
        "The match flag stays on until somebody reads the status, however long ago the match was.",
        ["sync.flag"],
    ),
    "newest-first": (
        "Of several words that wait the host gets the newest one first.",
        ["transfer.order"],
    ),
    "byte-stays-new": (
        "A byte that was read is flagged as new a second time.",
        ["byte.poll"],
    ),
    "reset-keeps-sync": (
        "A reset leaves hardware sync on.",
        ["reset.clean"],
    ),
    "one-short-from-index": (
        "A read that starts at the index ends a word early.",
        ["transfer.count"],
    ),
}
"""A fault's name, what a user would see, and the rules that may name it."""

ALSO = {
    "abort-keeps-words": ["raw.contiguous"],
    "low-byte-of-old-sync": ["sync.realign", "sync.phase"],
}
"""Rules that were added when the first run had been seen: a word that is left over from an aborted
raw read looks like one too many, and a comparator with half of a sync word misses matches in running
reads more often than anywhere else."""


class Reader(WordReader):
    """See the kit for when each method is called."""

    name = "word_reader.py"
    status = ("done", "busy", "error", "match")
    fault = ""

    # Power ------------------------------------------------------------------------------------

    def power_up(self, profile):
        if profile["slack_min"] != "0":
            raise CannotRun("slack_min = %s; this reader accepts at once" % profile["slack_min"])
        self.choice = profile
        self.register_bits = int(profile["register_bits"])
        self.word_bits = int(profile["word_bits"])
        self.register_mask = (1 << self.register_bits) - 1
        self.word_mask = (1 << self.word_bits) - 1
        self.compared = int(profile["sync_mask"], 16) & self.register_mask
        self.refractory = int(profile["refractory"])
        self.depth = int(profile["fifo_words"])
        self.max_words = int(profile["max_words"])
        self.straddles = profile["straddle"] == "allowed"
        self.shows_when_off = profile["flag_when_off"] == "yes"
        self.data_bytes = profile["byte"] == "data-8"
        self.byte_bits = 16 if self.data_bytes else 8
        self.history = 0  # the last 64 channel bits; the register is its low end
        self.invalid_for = 0
        self.done_due = False
        self.match_due = False
        self.forget()

    def forget(self):
        """What power-up and reset have in common (2.7)."""
        self.sync = 0x4489 & self.register_mask
        self.hardware_sync = False
        self.counted = 0  # channel bits since the last boundary
        self.byte_counted = 0
        self.quiet_for = 0  # channel bits in which no match is made
        self.latched = False
        self.error = False
        self.done = False
        self.byte = 0
        self.byte_new = False
        self.looked_at = False  # a fault's: the newest byte was read and stays new
        self.fifo = deque()
        self.since_last_word = None  # channel bits since an earlier read's last word, to join it
        self.end_transfer()

    def end_transfer(self):
        self.transfer = None
        self.waits_for = None  # "match" or "index", before the transfer runs
        self.wanted = 0
        self.taken = 0
        self.stopped = False
        self.realigned = False
        self.deaf = False  # matches touch nothing until the read has ended (1.8)
        self.finishing = 0  # channel bits until a word completes beside the counter (1.3, finish)
        self.skips_word = False  # the word that the counter completes next is none (1.3, finish)

    def reset(self):
        keeps = self.hardware_sync and self.fault == "reset-keeps-sync"
        self.forget()
        self.hardware_sync = keeps
        self.done_due = self.match_due = False
        if self.choice["reset_clears_register"] == "yes":
            self.history = 0

    def abort(self):
        if self.fault != "abort-keeps-words":
            self.fifo.clear()
        self.end_transfer()
        self.done = False
        self.done_due = False
        self.since_last_word = None

    # A channel bit ----------------------------------------------------------------------------

    def shift_in(self, bit):
        self.history = (self.history << 1 | bit) & 0xFFFF_FFFF_FFFF_FFFF
        if self.invalid_for > 0:
            self.invalid_for -= 1
        if self.since_last_word is not None:
            self.since_last_word += 1
        equal = self.equals_sync()
        if equal and (self.hardware_sync or self.shows_when_off):
            self.latched = True
            self.match_due = True
        self.count(self.makes_match(equal))

    def equals_sync(self):
        """The register equals the sync word under the mask, and is valid (1.1, 1.10)."""
        if self.invalid_for > 0 and not self.straddles and self.fault != "matches-over-sources":
            return False
        return (self.history ^ self.sync) & self.compared == 0

    def makes_match(self, equal):
        """Refractory time counts while hardware sync is on, and nothing suppressed prolongs it
        (1.4)."""
        if not self.hardware_sync:
            return False
        if self.quiet_for > 0:
            self.quiet_for -= 1
            return False
        if equal:
            self.quiet_for = self.refractory
        return equal

    def count(self, match):
        """Word counter, boundaries, and what a match does to them (1.2, 1.3)."""
        self.counted += 1
        self.byte_counted += 1
        if self.byte_counted == self.byte_bits:
            self.byte_counted = 0
            self.byte, self.byte_new = self.newest_byte(), True
        boundary = self.counted == self.word_bits
        if match and not self.deaf:
            if self.transfer is None or self.waits_for == "index":
                self.zero_counter()
            elif self.waits_for == "match":
                self.start_at_match()
            elif boundary:
                self.aligned_match()
            else:
                self.misaligned_match()
        elif boundary:
            self.boundary()
        if self.finishing > 0:
            self.finishing -= 1
            if self.finishing == 0:
                self.complete(self.history & self.word_mask)

    def boundary(self):
        self.counted = 0
        if self.skips_word:
            self.skips_word = False
        elif self.transfer is not None and self.waits_for is None:
            self.complete(self.history & self.word_mask)

    def zero_counter(self):
        self.counted = 0
        self.byte_counted = 0

    def start_at_match(self):
        self.waits_for = None
        self.zero_counter()
        if self.fault == "window-late":
            self.counted = -1
        if self.choice["start_match"] == "deliver":
            self.complete(self.history & self.word_mask)

    def aligned_match(self):
        """On a boundary (1.3)."""
        skip = self.skips_word or self.choice["aligned_match"] == "drop"
        self.skips_word = False
        self.zero_counter()
        if not skip:
            self.complete(self.history & self.word_mask)

    def misaligned_match(self):
        """Off the boundaries (1.3)."""
        way, which = self.choice["misaligned_match"], self.choice["realign"]
        once = which == "first" or self.fault == "first-realign-only"
        if way == "ignore" or which == "never" or (once and self.realigned):
            return
        self.realigned = True
        self.since_last_word = None
        part, partial = self.counted, self.choice["partial"]
        if partial == "pad-low" and not self.skips_word:
            low = self.word_bits - part
            self.complete((self.history & ((1 << part) - 1)) << low)
        elif partial == "finish":
            if not self.skips_word:
                self.finishing = self.word_bits - part + 1
            self.skips_word = True
        self.zero_counter()
        if way == "realign-deliver":
            self.complete(self.history & self.word_mask)

    def newest_byte(self):
        """The last eight channel bits, or the data bits of the last sixteen (1.11)."""
        if not self.data_bytes:
            return self.history & 0xFF
        return sum((self.history >> 2 * at & 1) << at for at in range(8))

    def source_changed(self):
        self.invalid_for = self.register_bits

    def index(self):
        if self.waits_for == "index":
            self.start_raw()
            if self.fault == "one-short-from-index" and self.wanted > 1:
                self.wanted -= 1

    # Transfers --------------------------------------------------------------------------------

    def request(self, transfer, words, start):
        """Accepted at once: a slack of none (1.5)."""
        if self.transfer is not None:
            if self.choice["start_busy"] == "ignore":
                return False
            if self.choice["start_busy"] == "error":
                return True
            self.abort()
        self.done = False
        if self.choice["flag"] == "latched-clear-on-start":
            self.latched = False
        if self.choice["error_flag"] == "per-transfer":
            self.error = False
        if words == 0:
            if self.choice["zero_words"] == "none":
                self.finish()
                return False
            words = self.max_words
        self.end_transfer()
        self.transfer, self.wanted = transfer, words
        if start == "now":
            joins = self.choice["read_join"] == "yes" and self.since_last_word is not None
            if joins and self.since_last_word < self.word_bits:
                self.counted = self.since_last_word
            else:
                self.start_raw()
        else:
            self.waits_for = start
        self.since_last_word = None
        return False

    def start_raw(self):
        self.waits_for = None
        if self.choice["counter"] == "zeroed-at-start":
            self.zero_counter()

    def complete(self, word):
        """A word of the running read completes (2.1)."""
        if self.stopped or self.taken + len(self.fifo) >= self.wanted:
            return
        if len(self.fifo) >= self.depth:
            self.lose()
            if self.choice["overrun"] != "lose-old":
                return
            self.fifo.popleft()
        self.fifo.append(word)
        if self.taken + len(self.fifo) == self.wanted:
            self.since_last_word = 0
            if self.choice["read_done"] == "last-completed":
                self.finish()

    def lose(self):
        self.error = self.choice["error_flag"] != "none"
        self.stopped = self.choice["overrun"] == "stop"
        if self.fault == "deaf-while-late":
            self.counted -= self.word_bits // 2

    def finish(self):
        self.done = True
        self.done_due = True

    def service(self, transfer):
        if transfer != self.transfer or self.waits_for is not None or not self.fifo:
            return None
        word = self.fifo.pop() if self.fault == "newest-first" else self.fifo.popleft()
        self.taken += 1
        at_last = self.choice["read_done"] == "last-stored"
        early = self.fault == "done-a-word-early" and self.wanted > 1
        if at_last and self.taken == self.wanted - early:
            self.finish()
        if self.taken == self.wanted or (self.stopped and not self.fifo):
            self.end_transfer()
        return word

    # Settings and what the host reads ----------------------------------------------------------

    def set_sync_word(self, word):
        if self.fault == "low-byte-of-old-sync":
            word = word & ~0xFF | self.sync & 0xFF
        self.sync = word & self.register_mask

    def set_hardware_sync(self, on):
        was, self.hardware_sync = self.hardware_sync, on
        if on and not was and self.transfer is not None and self.waits_for is None:
            self.deaf |= self.choice["sync_on_live"] == "next-transfer"
        if was and not on and self.waits_for == "match":
            if self.choice["sync_off_waiting"] == "start":
                self.start_raw()

    def poll_status(self):
        bits = []
        if self.done:
            bits.append("done")
        if self.transfer is not None:
            bits.append("busy")
        if self.error:
            bits.append("error")
        if self.shows_match():
            bits.append("match")
        return bits

    def shows_match(self):
        """The match flag; some flags are cleared by looking at them (1.9)."""
        flag = self.choice["flag"]
        if flag == "level" and self.fault != "flag-until-read":
            return self.equals_sync() and (self.hardware_sync or self.shows_when_off)
        if flag == "event":
            return False
        shown = self.latched
        if flag != "latched-clear-on-start":
            self.latched = False
        return shown

    def poll_byte(self):
        new = self.byte_new
        self.byte_new = self.fault == "byte-stays-new" and new and not self.looked_at
        self.looked_at = self.byte_new
        return self.byte, new

    def done_signal(self):
        due, self.done_due = self.done_due, False
        return due

    def match_signal(self):
        due, self.match_due = self.match_due, False
        return due and self.choice["flag"] == "event"


def faults():
    """What `trackproof samples --format json` says of a sample."""
    listed = [
        {"name": name, "rules": rules + ALSO.get(name, []), "masks": [], "sentence": sentence}
        for name, (sentence, rules) in FAULTS.items()
    ]
    return [{"name": "word_reader.py", "profile": "sync-dma", "faults": listed}]


def main(arguments):
    if arguments == ["--faults"]:
        print(json.dumps(faults(), indent=1))
        return
    if len(arguments) == 2 and arguments[0] == "--fault" and arguments[1] in FAULTS:
        Reader.fault = arguments[1]
    elif arguments:
        sys.exit("usage: word_reader.py [--fault NAME | --faults]; NAME: %s" % ", ".join(FAULTS))
    run(Reader)


if __name__ == "__main__":
    main(sys.argv[1:])
