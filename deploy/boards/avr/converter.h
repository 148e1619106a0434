/* The analogue-to-digital converter: 10 bits against AVcc, one conversion at a time. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include <stdint.h>

/* The count that would stand for the reference itself.
 * Data sheet, "ADC Conversion Result": ADC = Vin * 1024 / Vref; 1023 is Vref less one step. */
#define CONVERTER_FULL_SCALE 1024

/* Switches the converter on. */
void converter_start(void);

/* Counts on A0 to A3, 0 to 1023; takes 0.21 ms. */
uint16_t converter_read(uint8_t channel);

#endif
