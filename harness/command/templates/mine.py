"""A word reader that has nothing yet: channel bits in, words out.

A method that is marked `absent` is a capability that is missing: cases that need it are skipped and
counted, and no rule that needs it is held against the reader. Write them one by one and take the
marks away. What each must do stands in `trackproof_child.py`; what the profile's keys mean, in
`adapters/contract/profiles/sync-dma.toml`.
"""

from trackproof_child import WordReader, absent, run


class Mine(WordReader):
    status = ()  # Of done, busy, error, match: the bits that `poll_status` drives.

    def power_up(self, profile):
        """Power comes on; every case begins with a new object and this."""

    # A channel bit ends. Return the word that completes with it; once `request` is there, words
    # leave by `service` alone.
    # @shift_in@
    @absent
    def shift_in(self, bit):
        return None

    # The host asks for a read; count its words and keep them in a FIFO. Goes with `service`.
    # @request@
    @absent
    def request(self, transfer, words, start):
        return False

    # The host takes a word, if one waits. Goes with `request`.
    # @service@
    @absent
    def service(self, transfer):
        return None

    # Hardware sync goes on or off. Goes with `request` and `source_changed`.
    # @set_hardware_sync@
    @absent
    def set_hardware_sync(self, on):
        pass

    # The bits come from elsewhere from now on: the register is invalid for R bits.
    # @source_changed@
    @absent
    def source_changed(self):
        pass

    # The sync word changes.
    # @set_sync_word@
    @absent
    def set_sync_word(self, word):
        pass

    # The index passes: reads that start there.
    # @index@
    @absent
    def index(self):
        pass

    # The transfer ends at once.
    # @abort@
    @absent
    def abort(self):
        pass

    # The controller is reset.
    # @reset@
    @absent
    def reset(self):
        pass

    # The host reads the status: the names of the bits that are set.
    # @poll_status@
    @absent
    def poll_status(self):
        return []

    # The host reads the newest byte with its flag.
    # @poll_byte@
    @absent
    def poll_byte(self):
        return 0, False

    # Whether the completion signal came since this was asked last.
    # @done_signal@
    @absent
    def done_signal(self):
        return False

    # Whether a match was signalled since this was asked last; for profiles with `flag = event`.
    # @match_signal@
    @absent
    def match_signal(self):
        return False


if __name__ == "__main__":
    run(Mine)
