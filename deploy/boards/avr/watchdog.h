/* Resets the board when no line has been sent for 4 s, and knows why the board started. */
#ifndef WATCHDOG_H
#define WATCHDOG_H

#include <avr/pgmspace.h>

/* Switches the watchdog on. */
void watchdog_start(void);

/* To be called once a line, and nowhere else: a line that was sent is what proves that all works. */
void watchdog_feed(void);

/* Why the board started, a text in flash. Some bootloaders clear it: "unknown". */
PGM_P watchdog_cause(void);

#endif
