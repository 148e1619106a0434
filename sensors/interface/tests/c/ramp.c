/* A driver that is a table: the ratio of a pressure transmitter's output to a pressure. Invented. */
#include "nightbench_driver.h"

static const uint32_t inputs[] = {NB_RATIO};
static const struct nb_pair pairs[] = {{0.1, 0.0}, {0.5, 4.0}, {0.9, 10.0}};
static const struct nb_table table = {
    NB_HEAD,
    .name = NB_TEXT("ramp"), .summary = NB_TEXT("pressure of a transmitter with a ratio as its output"),
    .quantity = NB_TEXT("pressure"), .unit = NB_TEXT("bar"),
    .inputs = inputs, .input_count = 1,
    .monotonic = NB_MONOTONIC_RISING,
    .pairs = pairs, .pair_count = sizeof(pairs) / sizeof(pairs[0]),
};
const struct nb_table *const nightbench_driver = &table;
