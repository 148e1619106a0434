"""Reads the analogue inputs of a MicroPython board and prints one line an interval:

    ms=123456 a0=2048.25 s0=1.43 a1=350.02 s1=0.88 a2=... s2=...

ms   the board's milliseconds at the start of the line; 32 bits, wraps
aN   mean of the samples before it, in counts of 4096
sN   their standard deviation, in counts

Lines that begin with `#` are remarks. The board measures and says so; it knows nothing of ohms or
degrees. Copy it to the board as `main.py`: it then starts with the power. Ctrl-C stops it, and the
watchdog then starts the board anew: set WATCHDOG_MS = 0 to work on it.

On an RP2040 the converter has four steps, at 512, 1536, 2560 and 3584, where codes are missing and
the error jumps by some ten counts (errata RP2040-E11). It is not corrected here: what is sent is what
was measured, and a mean over samples on both sides of a step hides where it was. Choose the
divider's resistor so that the range that matters keeps away from the four counts, or correct the
counts at the host with a table made for this one board.
"""

import machine
import time

NAME = "bench"  # letters, digits, `-`, `_` and `.`
PINS = (26, 27, 28)  # a0, a1, a2: the analogue inputs of an RP2040 board
LINE_MS = 1000
SAMPLES = 50  # 50 every 2 ms last 100 ms: whole periods of 50 and 60 Hz, so hum and flicker cancel
SAMPLE_MS = 2
WATCHDOG_MS = 8000  # an RP2040 takes 8388 at most; 0 is none

# read_u16() stretches any converter to 16 bits. The upper 12 are those of a 12-bit converter as they
# were; the lower 4 are copies that say nothing.
SPARE_BITS = 4
FULL_SCALE = 4096


def wait_until(moment):
    """Sleeps until the tick counter has reached `moment`."""
    left = time.ticks_diff(moment, time.ticks_ms())
    if left > 0:
        time.sleep_ms(left)


def take(inputs, due):
    """Samples of each input; the last ones lie just before `due`."""
    samples = [[] for _ in inputs]
    for left in range(SAMPLES, 0, -1):
        wait_until(time.ticks_add(due, -left * SAMPLE_MS))
        for adc, counts in zip(inputs, samples):
            adc.read_u16()  # pulls the sampling capacitor from the input before to this one
            counts.append(adc.read_u16() >> SPARE_BITS)
    wait_until(due)
    return samples


def mean_and_spread(counts):
    """Mean and standard deviation (over n - 1)."""
    mean = sum(counts) / len(counts)
    squares = sum((count - mean) ** 2 for count in counts)
    return mean, (squares / (len(counts) - 1)) ** 0.5


def line(ms, samples):
    """The line, without its end."""
    pairs = ["ms=%d" % ms]
    for number, counts in enumerate(samples):
        mean, spread = mean_and_spread(counts)
        pairs.append("a%d=%.2f s%d=%.2f" % (number, mean, number, spread))
    return " ".join(pairs)


def greet():
    """Why it starts, and who it is.

    A reset may come in the middle of a line: ` # ` makes what was sent of it unusable, where a new
    line would make a wrong number of it.
    """
    causes = {machine.PWRON_RESET: "power-on", machine.WDT_RESET: "watchdog"}
    print(" # reset: " + causes.get(machine.reset_cause(), "unknown"))
    print(
        "# board nightbench-micropython 1 name=%s full_scale=%d samples=%d line_ms=%d"
        % (NAME, FULL_SCALE, SAMPLES, LINE_MS)
    )


def run():
    inputs = [machine.ADC(pin) for pin in PINS]
    watchdog = machine.WDT(timeout=WATCHDOG_MS) if WATCHDOG_MS else None
    greet()
    ms = 0
    then = due = time.ticks_ms()
    while True:
        due = time.ticks_add(due, LINE_MS)
        if time.ticks_diff(due, time.ticks_ms()) < SAMPLES * SAMPLE_MS:
            # A host that does not read can hold up print(): go on from here, without a burst.
            due = time.ticks_add(time.ticks_ms(), LINE_MS)
        samples = take(inputs, due)
        # The ticks wrap earlier than 2^32 on most boards; their differences do not care.
        now = time.ticks_ms()
        ms = (ms + time.ticks_diff(now, then)) & 0xFFFFFFFF
        then = now
        print(line(ms, samples))
        if watchdog:
            watchdog.feed()


if __name__ == "__main__":
    run()
