#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/atomic.h>

#include "settings.h"

#define PRESCALER 64
#define TICKS_PER_MS (F_CPU / PRESCALER / 1000)

#if TICKS_PER_MS > 256 || F_CPU % (PRESCALER * 1000UL) != 0
#error "no whole number of timer ticks makes a millisecond at this F_CPU"
#endif

static volatile uint32_t milliseconds;

ISR(TIMER0_COMPA_vect)
{
    milliseconds++;
}

void clock_start(void)
{
    milliseconds = MS_AT_START;
    TCCR0A = _BV(WGM01); /* clear on compare match: the period is exact, nothing adds up */
    OCR0A = TICKS_PER_MS - 1;
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00); /* / 64 */
    /* Idle keeps timer and serial port alive; the deeper modes stop them. */
    set_sleep_mode(SLEEP_MODE_IDLE);
}

uint32_t clock_ms(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now = milliseconds; /* four bytes: an interrupt between them would tear it */
    }
    return now;
}

void clock_wait_until(uint32_t moment)
{
    cli();
    /* The difference, not the numbers: right across the wrap. */
    while ((int32_t)(moment - milliseconds) > 0) {
        sleep_enable();
        sei(); /* takes effect after the next instruction, so no tick slips in before the sleep */
        sleep_cpu();
        sleep_disable();
        cli();
    }
    sei();
}
