/* Mean and spread of SAMPLES counts, in whole numbers: no floating point on the board. */
#ifndef SAMPLE_H
#define SAMPLE_H

#include <stdint.h>

/* Sums of the samples of one channel; all zero to begin with. */
struct sample {
    uint16_t sum;
    uint32_t squares;
};

/* Adds one count, 0 to 1023; SAMPLES of them in all. */
void sample_add(struct sample *sample, uint16_t count);

/* Mean of SAMPLES counts, in hundredths of a count, rounded. */
uint32_t sample_mean(const struct sample *sample);

/* Standard deviation of SAMPLES counts (over SAMPLES - 1), in hundredths of a count, rounded down. */
uint32_t sample_spread(const struct sample *sample);

#endif
