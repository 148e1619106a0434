#include "watchdog.h"

#include <avr/io.h>
#include <avr/wdt.h>
#include <stdint.h>

/* Survives the clearing of memory between `calm` and `main`. */
static uint8_t flags __attribute__((section(".noinit")));

/* Runs before everything else: after a reset by the watchdog it stays on with 16 ms, and would bite
 * again and again before the program has begun. Data sheet, "Watchdog Timer". */
void calm(void) __attribute__((naked, used, section(".init3")));

void calm(void)
{
    flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

void watchdog_start(void)
{
    wdt_enable(WDTO_4S);
}

void watchdog_feed(void)
{
    wdt_reset();
}

PGM_P watchdog_cause(void)
{
    /* Several can be set at once; the watchdog's is the one that somebody has to look at. */
    if (flags & _BV(WDRF)) {
        return PSTR("watchdog");
    }
    if (flags & _BV(PORF)) {
        return PSTR("power-on");
    }
    if (flags & _BV(BORF)) {
        return PSTR("brown-out");
    }
    if (flags & _BV(EXTRF)) {
        return PSTR("reset-pin");
    }
    return PSTR("unknown");
}
