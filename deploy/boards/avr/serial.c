#include "serial.h"

#include <avr/io.h>
#include <stdlib.h>

#include "settings.h"

/* Works out UBRR and whether U2X is needed, and refuses a rate that is missed by more than 1 %. */
#define BAUD_TOL 1
#include <util/setbaud.h>

void serial_start(void)
{
    UBRR0 = UBRR_VALUE;
#if USE_2X
    UCSR0A = _BV(U2X0);
#else
    UCSR0A = 0;
#endif
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(TXEN0);
}

void serial_byte(char byte)
{
    while (!(UCSR0A & _BV(UDRE0))) {
        /* Before the first byte the watchdog is on, so this cannot last. */
    }
    UDR0 = (uint8_t)byte;
}

void serial_text(PGM_P text)
{
    for (char byte; (byte = (char)pgm_read_byte(text)) != '\0'; text++) {
        serial_byte(byte);
    }
}

void serial_number(uint32_t number)
{
    char digits[11]; /* 4294967295 and the end */
    ultoa(number, digits, 10);
    for (const char *digit = digits; *digit != '\0'; digit++) {
        serial_byte(*digit);
    }
}

void serial_hundredths(uint32_t hundredths)
{
    uint8_t rest = (uint8_t)(hundredths % 100);
    serial_number(hundredths / 100);
    serial_byte('.');
    serial_byte((char)('0' + rest / 10));
    serial_byte((char)('0' + rest % 10));
}
