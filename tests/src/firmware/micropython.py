"""Runs a MicroPython program where there is no board: stand-ins for `machine` and `time`.

    python3 micropython.py PROGRAM LINES COUNT...

COUNT... is what the 12-bit converter sees on each input, in the order in which the program makes them.
The kept conversions swing by one count to either side; the first conversion after a change of input
still holds half of the input before. Time passes only where the program sleeps, and the ticks wrap,
as on a real board, at 2^30. Nothing else of a board is here.
"""

import builtins
import runpy
import sys
import types

program, lines, counts = sys.argv[1], int(sys.argv[2]), [int(count) for count in sys.argv[3:]]

TICKS = 1 << 30
WATCHDOG = 3


class Board:
    ticks = TICKS - 2500  # wraps while the third line is made
    fed = ticks
    last_input = 0
    printed = 0


def diff(end, start):
    return (end - start + TICKS // 2) % TICKS - TICKS // 2


def sleep_ms(ms):
    Board.ticks = (Board.ticks + ms) % TICKS


class ADC:
    made = 0

    def __init__(self, pin):
        self.number, self.swing = ADC.made, 1
        ADC.made += 1

    def read_u16(self):
        count = counts[self.number]
        if Board.last_input != self.number:
            count = (count + counts[Board.last_input]) // 2
            Board.last_input = self.number
        else:
            self.swing = -self.swing
            count += self.swing
        return count << 4 | count >> 8


class WDT:
    def __init__(self, timeout):
        self.timeout = timeout
        self.feed()

    def feed(self):
        assert diff(Board.ticks, Board.fed) < self.timeout, "the watchdog has bitten"
        Board.fed = Board.ticks


def print_and_count(*texts):
    builtins.print(*texts, flush=True)
    Board.printed += 1
    if Board.printed == lines:
        sys.exit(0)


machine = types.ModuleType("machine")
machine.ADC, machine.WDT = ADC, WDT
machine.PWRON_RESET, machine.WDT_RESET = 1, WATCHDOG
machine.reset_cause = lambda: WATCHDOG
time = types.ModuleType("time")
time.ticks_ms = lambda: Board.ticks
time.ticks_add = lambda ticks, ms: (ticks + ms) % TICKS
time.ticks_diff = diff
time.sleep_ms = sleep_ms
sys.modules["machine"], sys.modules["time"] = machine, time

runpy.run_path(program, {"print": print_and_count}, "__main__")
