/*
 * What this driver measures, from which electrical quantity, by which equation, and its source.
 *
 * As it stands: the angle of a potentiometer's shaft from the ratio of its divider,
 * angle = zero + turn * ratio. Change everything that is marked with (1) to (7), in this order.
 *
 * Functions keep nothing, open nothing and ask for no time, so that the same parameters and input
 * always give the same number.
 */
#include "nightbench_driver.h"

/* (4) Where each parameter stands; `parameters` below has the same order. */
enum { ZERO, TURN, COUNT };

/* (5) The inputs that have a value; nightbench asks for no other. */
static const double LOWEST = 0.0, HIGHEST = 1.0;

static int32_t range(const struct nb_slice *given, size_t given_count,
                     double *lowest, double *highest) {
    (void)given;
    if (given_count != COUNT) return NB_WRONG_CALL;
    *lowest = LOWEST;
    *highest = HIGHEST;
    return NB_DONE;
}

/* Comparing with NaN is false: it is outside. */
static int is_inside(double input) { return input >= LOWEST && input <= HIGHEST; }

/*
 * (6) The model. A finite number for every input in the range; NaN for everything else, and then
 * NB_OUT_OF_RANGE as a whole. Write as many values as there are inputs, and not one more.
 */
static int32_t evaluate(const struct nb_slice *given, size_t given_count,
                        const double *inputs, double *values, size_t count) {
    if (given_count != COUNT) return NB_WRONG_CALL;
    double zero = given[ZERO].data[0], turn = given[TURN].data[0];
    int32_t status = NB_DONE;
    for (size_t i = 0; i < count; i++) {
        int inside = is_inside(inputs[i]);
        values[i] = inside ? zero + turn * inputs[i] : NAN;
        if (!inside) status = NB_OUT_OF_RANGE;
    }
    return status;
}

/*
 * (7) What may be left out, from here to the table: leave the field out, too. slope: value over input;
 * without, nightbench takes differences.
 */
static int32_t slope(const struct nb_slice *given, size_t given_count,
                     const double *inputs, double *slopes, size_t count) {
    if (given_count != COUNT) return NB_WRONG_CALL;
    int32_t status = NB_DONE;
    for (size_t i = 0; i < count; i++) {
        int inside = is_inside(inputs[i]);
        slopes[i] = inside ? given[TURN].data[0] : NAN;
        if (!inside) status = NB_OUT_OF_RANGE;
    }
    return status;
}

/* What bounds alone cannot say about the parameters, for whoever wrote the configuration. */
static int32_t check(const struct nb_slice *given, size_t given_count, struct nb_text *text) {
    static const struct nb_text wrong = NB_TEXT("a `turn` of 0 gives the same angle for every ratio");
    if (given_count != COUNT) return NB_WRONG_CALL;
    if (given[TURN].data[0] != 0.0) return NB_DONE;
    *text = wrong;
    return NB_PARAMETERS;
}

/* Where a calibration starts; without, from the present parameters. One point moves the line, two or
 * more also turn it; the fit itself is the host's. */
static int32_t guess(const struct nb_slice *given, size_t given_count,
                     const double *inputs, const double *values, size_t count, double *start) {
    if (given_count != COUNT) return NB_WRONG_CALL;
    if (count == 0) return NB_OUT_OF_RANGE;
    double turn = given[TURN].data[0];
    if (count > 1) turn = (values[count - 1] - values[0]) / (inputs[count - 1] - inputs[0]);
    if (!isfinite(turn) || turn == 0.0) return NB_OUT_OF_RANGE;
    start[TURN] = turn;
    start[ZERO] = values[0] - turn * inputs[0];
    return NB_DONE;
}

/* (2) What it takes: NB_OHM, NB_VOLT, NB_RATIO (0 to 1 of the converter's full scale) or NB_NUMBER (the
 * board's number as it is). The front end makes it from the board's counts. */
static const uint32_t inputs[] = {NB_RATIO};

/* (4) Name, meaning, unit (UCUM); default (NB_NO_NUMBER: it must be given) and bounds. A calibration to
 * one point changes the number with .fitted = 1, to two points also that with .fitted = 2. */
static const struct nb_parameter parameters[COUNT] = {
    {.name = NB_TEXT("zero"), .summary = NB_TEXT("angle at a ratio of 0"), .unit = NB_TEXT("deg"),
     .kind = NB_PARAMETER_NUMBER, .fallback = 0.0, .lowest = -3600.0, .highest = 3600.0, .most = 1,
     .fitted = 1},
    {.name = NB_TEXT("turn"), .summary = NB_TEXT("angle from end to end"), .unit = NB_TEXT("deg"),
     .kind = NB_PARAMETER_NUMBER, .fallback = 270.0, .lowest = -3600.0, .highest = 3600.0, .most = 1,
     .fitted = 2},
};

static const struct nb_table table = {
    NB_HEAD,
    /* (1) Its name, and one line for a person. */
    .name = NB_TEXT("my_driver"),
    .summary = NB_TEXT("angle of a potentiometer's shaft"),
    /* (3) What it gives, and in which unit (UCUM); NB_NO_TEXT where the configuration is to say. */
    .quantity = NB_TEXT("angle"),
    .unit = NB_TEXT("deg"),
    .inputs = inputs,
    .input_count = sizeof inputs / sizeof inputs[0],
    .parameters = parameters,
    .parameter_count = COUNT,
    .evaluate = evaluate,
    .slope = slope,
    .range = range,
    .check = check,
    .guess = guess,
};

/* The one symbol by which nightbench finds it. */
const struct nb_table *const nightbench_driver = &table;
