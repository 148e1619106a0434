#include "sample.h"

#include "settings.h"

/* Why it fits, with n = SAMPLES, 4 to 64, and counts up to 1023:
 *   sum             n * 1023           up to        65 472   16 bits
 *   n * squares     n * n * 1023^2     up to 4 286 582 784   32 bits
 *   variance * 1e4  1023^2 / 4 * n / (n - 1) * 1e4
 *                                      up to 3 488 430 000   32 bits (n = 4) */
#define PAIRS ((uint32_t)SAMPLES * (SAMPLES - 1))

/* Largest whole number whose square is not above `square`: one bit after the other, from the top. */
static uint32_t root(uint32_t square)
{
    uint32_t found = 0;
    for (uint32_t bit = 1UL << 15; bit != 0; bit >>= 1) {
        uint32_t next = found | bit;
        if (next * next <= square) {
            found = next;
        }
    }
    return found;
}

void sample_add(struct sample *sample, uint16_t count)
{
    sample->sum += count;
    sample->squares += (uint32_t)count * count;
}

uint32_t sample_mean(const struct sample *sample)
{
    return ((uint32_t)sample->sum * 100 + SAMPLES / 2) / SAMPLES;
}

uint32_t sample_spread(const struct sample *sample)
{
    /* n sum(x^2) - sum(x)^2 is exact in whole numbers, so nothing cancels away. */
    uint32_t excess = SAMPLES * sample->squares - (uint32_t)sample->sum * sample->sum;
    uint32_t variance = excess / PAIRS * 10000 + excess % PAIRS * 10000 / PAIRS;
    return root(variance);
}
