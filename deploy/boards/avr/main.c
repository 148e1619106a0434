/* Reads A0 to A3 of an ATmega328P at 16 MHz and sends one line an interval:
 *
 *     ms=123456 a0=512.25 s0=0.43 a1=87.02 s1=0.11 a2=... s2=... a3=... s3=...
 *
 * ms   the board's milliseconds at the start of the line; 32 bits, wraps
 * aN   mean of the samples before it, in counts of 1024
 * sN   their standard deviation, in counts
 *
 * Lines that begin with `#` are remarks. The board measures and says so; it knows nothing of ohms or
 * degrees, keeps nothing, and takes no orders.
 */
#include <avr/interrupt.h>
#include <avr/pgmspace.h>

#include "clock.h"
#include "converter.h"
#include "sample.h"
#include "serial.h"
#include "settings.h"
#include "watchdog.h"

#define TEXT_OF(number) TEXT(number)
#define TEXT(number) #number

/* Why it starts, and who it is.
 *
 * A reset may come in the middle of a line, and what was sent of it must not become a number: `a0=51`
 * is no `a0=512.25`. So that line is not ended: a lone `#` is put behind it, which is no pair and makes
 * the whole line unusable. A host that has just opened the port throws this line away and then sees
 * the next one whole: the board's identity. */
static void greet(void)
{
    serial_text(PSTR(" # reset: "));
    serial_text(watchdog_cause());
    serial_text(PSTR("\n# board nightbench-avr 1 name=" BOARD_NAME
                     " full_scale=" TEXT_OF(CONVERTER_FULL_SCALE)
                     " samples=" TEXT_OF(SAMPLES)
                     " line_ms=" TEXT_OF(LINE_MS) "\n"));
}

/* Takes the samples of all channels so that the last ones lie just before `due`. All channels in
 * turn, so that what changes slowly hits all of them alike. */
static void take(struct sample samples[CHANNELS], uint32_t due)
{
    for (uint8_t left = SAMPLES; left > 0; left--) {
        clock_wait_until(due - (uint32_t)left * SAMPLE_MS);
        for (uint8_t channel = 0; channel < CHANNELS; channel++) {
            sample_add(&samples[channel], converter_read(channel));
        }
    }
    clock_wait_until(due);
}

static void send_pair(char kind, uint8_t channel, uint32_t hundredths)
{
    serial_byte(' ');
    serial_byte(kind);
    serial_byte((char)('0' + channel));
    serial_byte('=');
    serial_hundredths(hundredths);
}

static void send_line(const struct sample samples[CHANNELS])
{
    serial_text(PSTR("ms="));
    serial_number(clock_ms());
    for (uint8_t channel = 0; channel < CHANNELS; channel++) {
        send_pair('a', channel, sample_mean(&samples[channel]));
        send_pair('s', channel, sample_spread(&samples[channel]));
    }
    serial_byte('\n');
}

int main(void)
{
    watchdog_start();
    serial_start();
    converter_start();
    clock_start();
    sei();
    greet();
    for (uint32_t due = clock_ms() + LINE_MS;; due += LINE_MS) {
        struct sample samples[CHANNELS] = { 0 };
        take(samples, due);
        send_line(samples);
        watchdog_feed();
    }
}
