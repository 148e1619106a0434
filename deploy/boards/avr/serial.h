/* The serial port, sending only: 8 data bits, no parity, 1 stop bit, BAUD of `settings.h`. */
#ifndef SERIAL_H
#define SERIAL_H

#include <avr/pgmspace.h>
#include <stdint.h>

/* Switches the port on. */
void serial_start(void);

/* Sends one byte: waits until there is room for it, not until it is out. */
void serial_byte(char byte);

/* Sends a text that lies in flash: PSTR("..."). */
void serial_text(PGM_P text);

/* Sends a number in decimal. */
void serial_number(uint32_t number);

/* Sends a number of hundredths with two digits behind the point: 51225 as 512.25. */
void serial_hundredths(uint32_t hundredths);

#endif
