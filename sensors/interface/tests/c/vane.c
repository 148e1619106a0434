/* A wind vane in C: the ratio of a potentiometer's divider to an angle. Invented. */
#include "nightbench_driver.h"

static int32_t evaluate(const struct nb_slice *parameters, size_t parameter_count,
                        const double *inputs, double *values, size_t count) {
    int32_t status = NB_DONE;
    if (parameter_count != 2) return NB_WRONG_CALL;
    for (size_t i = 0; i < count; i++) {
        int inside = inputs[i] >= 0.0 && inputs[i] <= 1.0;
        values[i] = inside ? parameters[0].data[0] * inputs[i] : NAN;
        if (!inside) status = NB_OUT_OF_RANGE;
    }
    return status;
}

static int32_t range(const struct nb_slice *parameters, size_t parameter_count,
                     double *lowest, double *highest) {
    (void)parameters, (void)parameter_count;
    *lowest = 0.0;
    *highest = 1.0;
    return NB_DONE;
}

static int32_t check(const struct nb_slice *parameters, size_t parameter_count,
                     struct nb_text *text) {
    static const struct nb_text wrong = NB_TEXT("a `turn` of 0 gives no angle");
    if (parameter_count != 2) return NB_WRONG_CALL;
    if (parameters[0].data[0] != 0.0) return NB_DONE;
    *text = wrong;
    return NB_PARAMETERS;
}

static int32_t guess(const struct nb_slice *parameters, size_t parameter_count,
                     const double *inputs, const double *values, size_t count, double *start) {
    (void)parameters;
    if (parameter_count != 2) return NB_WRONG_CALL;
    if (count == 0 || inputs[0] == 0.0) return NB_OUT_OF_RANGE;
    start[0] = values[0] / inputs[0];
    return NB_DONE;
}

/* A tenth of a degree for each hundredth of the ratio from the first point. */
static int32_t misfit(const struct nb_slice *parameters, size_t parameter_count,
                      const double *nodes, size_t node_count, size_t free_count,
                      const double *inputs, double *values, size_t count) {
    (void)parameters, (void)parameter_count;
    if (node_count < free_count) return NB_WRONG_CALL;
    for (size_t i = 0; i < count; i++) values[i] = 10.0 * fabs(inputs[i] - nodes[0]);
    return NB_DONE;
}

/* Beside the angle: how far the shaft has turned, as a part of the whole. */
static int32_t evaluate_output(const struct nb_slice *parameters, size_t parameter_count,
                               size_t output, const double *inputs, double *values, size_t count) {
    (void)parameters;
    if (parameter_count != 2 || output != 1) return NB_WRONG_CALL;
    for (size_t i = 0; i < count; i++) values[i] = 100.0 * inputs[i];
    return NB_DONE;
}

static const struct nb_output outputs[] = {
    {NB_TEXT("angle"), NB_TEXT("angle"), NB_NO_TEXT},
    {NB_TEXT("part"), NB_TEXT("part"), NB_TEXT("%")},
};
static const struct nb_text words[] = {NB_TEXT("left"), NB_TEXT("right")};
static const uint32_t inputs[] = {NB_RATIO, NB_NUMBER};
static const struct nb_parameter parameters[] = {
    {.name = NB_TEXT("turn"), .summary = NB_TEXT("angle from end to end"), .unit = NB_TEXT("deg"),
     .kind = NB_PARAMETER_NUMBER, .fallback = 270.0, .lowest = 0.0, .highest = 3600.0, .most = 1, .fitted = 1},
    {.name = NB_TEXT("hand"), .summary = NB_TEXT("which way it turns"), .unit = NB_TEXT("1"),
     .kind = NB_PARAMETER_CHOICE, .fallback = 1.0, .words = words, .word_count = 2},
};
static const struct nb_table table = {
    NB_HEAD,
    .name = NB_TEXT("vane"), .summary = NB_TEXT("angle of a potentiometer's shaft"),
    .quantity = NB_TEXT("angle"), .unit = NB_NO_TEXT,
    .inputs = inputs, .input_count = 2, .parameters = parameters, .parameter_count = 2,
    .evaluate = evaluate, .range = range, .check = check,
    .guess = guess, .misfit = misfit,
    .outputs = outputs, .output_count = 2, .evaluate_output = evaluate_output,
    .monotonic = NB_MONOTONIC_RISING,
};
const struct nb_table *const nightbench_driver = &table;
