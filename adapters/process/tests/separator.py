"""Two data separators for the tests: a loop of second order, and fixed thresholds."""

import sys

from trackproof_child import DataSeparator, run


class Loop(DataSeparator):
    phase_part, period_part = 0.75, 0.15

    def separate(self, transitions_ns, until_ns):
        nominal = int(self.given["channel_bit_ns"])
        centre, period, bits = None, nominal, []
        for at in transitions_ns:
            if centre is None:
                centre = at
                bits.append("1")
                continue
            cells = max(1, int((at - centre) / period + 0.5))
            error = at - centre - cells * period
            centre += cells * period + self.phase_part * error
            period += self.period_part * error / cells
            period = min(max(period, 0.85 * nominal), 1.15 * nominal)
            bits.append("0" * (cells - 1) + "1")
        return "".join(bits)


class Thresholds(Loop):
    phase_part, period_part = 1.0, 0.0


run(Thresholds if "--thresholds" in sys.argv else Loop)
