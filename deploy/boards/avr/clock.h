/* Milliseconds since the start, from timer 0. No wall clock: the host knows the time of day. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

/* Starts counting; needs interrupts to be enabled afterwards. */
void clock_start(void);

/* Milliseconds since the start; wraps to 0 after 2^32 of them, which is 49.7 days. */
uint32_t clock_ms(void);

/* Sleeps until the counter has reached `moment`, at most 2^31 ms ahead; returns at once for the past. */
void clock_wait_until(uint32_t moment);

#endif
