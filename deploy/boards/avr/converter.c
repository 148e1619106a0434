#include "converter.h"

#include <avr/io.h>

/* Data sheet, "Prescaling and Conversion Timing": 50 kHz to 200 kHz for the full 10 bits.
 * 16 MHz / 128 = 125 kHz; 13 of its cycles, 104 us, are one conversion. */
#define PRESCALER 128
#define CLOCK_HZ (F_CPU / PRESCALER)

#if CLOCK_HZ < 50000 || CLOCK_HZ > 200000
#error "the converter's clock is outside 50 kHz to 200 kHz at this F_CPU"
#endif

static uint16_t convert(void)
{
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC)) {
        /* A converter that never ends is the watchdog's business. */
    }
    return ADC;
}

void converter_start(void)
{
    DDRC = 0;
    PORTC = 0; /* no pull-ups: they would be a resistor of the divider */
    DIDR0 = 0x3f; /* no digital inputs on A0 to A5: at half the supply they draw current and make noise */
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0); /* / 128 */
    (void)converter_read(0); /* the first one after switching on warms it up */
}

uint16_t converter_read(uint8_t channel)
{
    /* AVcc as reference: a divider that hangs on the same supply cancels it. */
    ADMUX = _BV(REFS0) | channel;
    /* The sampling capacitor (14 pF) still holds the channel before: the first conversion pulls it to
     * the new voltage and is thrown away. It can do that through 10 kohm, for which the data sheet
     * says the converter is made; behind more, 100 nF from pin to ground are the source. */
    (void)convert();
    return convert();
}
