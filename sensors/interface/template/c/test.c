/* The driver against points that somebody else published, through the table that nightbench reads. */
#include "nightbench_driver.h"
#include <stdio.h>

/* Input and value. Source: invented, a potentiometer of 270 degrees; write here where yours are from:
 * data sheet, table, page. */
static const double published[][2] = {{0.0, 0.0}, {0.5, 135.0}, {1.0, 270.0}};
/* How far a value may be off: half of the last digit that is printed. */
static const double tolerance = 0.5;

int main(void) {
    /* One slice for each parameter, in the driver's order: zero, turn. */
    static const double zero = 0.0, turn = 270.0;
    const struct nb_slice given[] = {{&zero, 1}, {&turn, 1}};
    static const double odd[] = {NAN, INFINITY, -0.1, 1.1};
    const struct nb_table *driver = nightbench_driver;
    double value;
    int wrong = 0;

    for (size_t i = 0; i < sizeof published / sizeof published[0]; i++) {
        int32_t status = driver->evaluate(given, 2, &published[i][0], &value, 1);
        if (status == NB_DONE && fabs(value - published[i][1]) <= tolerance) continue;
        printf("%g gives %g, not %g (status %d)\n", published[i][0], value, published[i][1], (int)status);
        wrong = 1;
    }
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        if (driver->evaluate(given, 2, &odd[i], &value, 1) == NB_OUT_OF_RANGE && isnan(value)) continue;
        printf("%g has a value: %g\n", odd[i], value);
        wrong = 1;
    }
    if (!wrong) puts("all points are met");
    return wrong;
}
