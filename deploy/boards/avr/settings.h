/* What a person may want to change; the rest follows from it.
 *
 * Each can be given from outside, without touching this file:
 *     make DEFINES='-DLINE_MS=500 -DBOARD_NAME=\"cellar\"'
 */
#ifndef SETTINGS_H
#define SETTINGS_H

/* The board's own name, sent at start; letters, digits, `-`, `_` and `.`. */
#ifndef BOARD_NAME
#define BOARD_NAME "bench"
#endif

/* From the start of one line to the start of the next, in milliseconds. */
#ifndef LINE_MS
#define LINE_MS 1000
#endif

/* Samples of each channel in a line, and from one to the next in milliseconds.
 *
 * 50 every 2 ms last 100 ms: whole periods of the mains at 50 Hz (5) and at 60 Hz (6), and of lamps,
 * which flicker at twice that, so hum and flicker cancel in the mean. What cancels not are
 * multiples of the sampling frequency, 500 Hz. */
#ifndef SAMPLES
#define SAMPLES 50
#endif
#ifndef SAMPLE_MS
#define SAMPLE_MS 2
#endif

/* At 16 MHz with U2X, 57600 is missed by -0.8 % and 115200 by +2.1 % (data sheet, "Examples of Baud
 * Rate Setting"); a receiver at double speed should see no more than 1.5 % (the same, "Asynchronous
 * Operational Range"). A line of 100 characters takes 17 ms. */
#ifndef BAUD
#define BAUD 57600
#endif

/* Where the millisecond counter starts: other than 0 only to try its wrap, which is 49.7 days away. */
#ifndef MS_AT_START
#define MS_AT_START 0UL
#endif

/* A0 to A3. */
#define CHANNELS 4

/* Sums of `sample.c` fit into 32 bits between these; see there. */
#if SAMPLES < 4 || SAMPLES > 64
#error "SAMPLES must be 4 to 64"
#endif
/* Four channels take 0.9 ms: see `converter.c`. */
#if SAMPLE_MS < 1
#error "SAMPLE_MS must be at least 1"
#endif
/* Sampling and sending one line must be over before the next one begins. */
#if LINE_MS < SAMPLES * SAMPLE_MS + 50
#error "LINE_MS is too short for SAMPLES * SAMPLE_MS and 50 ms to send the line"
#endif
/* The watchdog bites after 4 s and is fed once a line; its oscillator is a rough one. */
#if LINE_MS > 2000
#error "LINE_MS is too long for the watchdog: at most 2000"
#endif

#endif
