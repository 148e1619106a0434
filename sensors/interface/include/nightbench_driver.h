/*
 * The C table of a driver: the model from a probe's electrical quantity to a physical one.
 *
 * A driver's library defines the one symbol that is declared at the end of this file:
 *
 *     const struct nb_table *const nightbench_driver = &table;
 *
 * Within one major version fields are only appended, and sizes say how many there are: a driver that
 * was built against 1.0 still loads, and one that leaves new fields out has none of what they give.
 *
 * Strings, rows and functions live as long as the library, which is never unloaded.
 *
 * Made from the interface's source by cbindgen: do not change it here.
 */
#ifndef NIGHTBENCH_DRIVER_H
#define NIGHTBENCH_DRIVER_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

// The first fields of a table.
#define NB_HEAD                                                                                    \
    .size = sizeof(struct nb_table), .major = NB_MAJOR, .minor = NB_MINOR,                         \
    .parameter_size = sizeof(struct nb_parameter)

// A text, and none.
#define NB_TEXT(literal) {(literal), sizeof(literal) - 1}
#define NB_NO_TEXT {NULL, 0}

// No default.
#define NB_NO_NUMBER NAN

// How a call ended: all values are there.
#define NB_DONE 0

// How a call ended: at least one input has no value; it is NaN, the others are as ever.
#define NB_OUT_OF_RANGE 1

// How a call ended: the parameters do not go together.
#define NB_PARAMETERS 2

// How a call ended: the driver panicked; the panic was stopped at the border.
#define NB_PANICKED 3

// How a call ended: a null pointer, or another count of parameters than declared.
#define NB_WRONG_CALL 4

// Which way values go with a rising input: nothing is promised.
#define NB_MONOTONIC_UNKNOWN 0

// Which way values go with a rising input: never down.
#define NB_MONOTONIC_RISING 1

// Which way values go with a rising input: never up.
#define NB_MONOTONIC_FALLING 2

// Electrical quantity: resistance, ohm.
#define NB_OHM 0

// Electrical quantity: voltage, volt.
#define NB_VOLT 1

// Electrical quantity: fraction of the converter's full scale, 0 to 1.
#define NB_RATIO 2

// Electrical quantity: the board's number as it is.
#define NB_NUMBER 3

// A parameter is one number.
#define NB_PARAMETER_NUMBER 0

// A parameter is a list of numbers.
#define NB_PARAMETER_LIST 1

// A parameter is one of several words.
#define NB_PARAMETER_CHOICE 2

// The interface's version: tables of another major one cannot be read at all.
#define NB_MAJOR 1

// The interface's version, the lesser part: tables of a newer minor one have more fields at their end.
#define NB_MINOR 1

// UTF-8 text that lives as long as its library; null for none.
struct nb_text {
    // The first byte.
    const char *data;
    // Bytes, without a NUL at the end.
    size_t length;
};

// A parameter that a driver declares. In Rust it is made in `const` context by the functions below.
struct nb_parameter {
    // Its key in the configuration.
    struct nb_text name;
    // One line for a person.
    struct nb_text summary;
    // UCUM code; `1` for plain numbers and choices.
    struct nb_text unit;
    // Whether it holds one number, a list of them or one of several words.
    uint32_t kind;
    // A number's default, NaN for none; a choice's default index.
    double fallback;
    // A number's lowest value that makes sense.
    double lowest;
    // A number's highest value that makes sense.
    double highest;
    // Most numbers in a list; 1 for a number or a choice.
    size_t most;
    // The words of a choice.
    const struct nb_text *words;
    // How many.
    size_t word_count;
    // Since 1.1: 0 where the number is given and never fitted, else its rank among the fitted ones.
    uint64_t fitted;
};

// The value of one parameter: one number, or a list. A number that was not given is NaN, a choice
// is its word's index.
struct nb_slice {
    // The first number; null where there is none.
    const double *data;
    // How many.
    size_t length;
};

// Writes `count` values, one per input; the two arrays do not overlap. Where some inputs are outside
// the range their values are NaN and the status is `OUT_OF_RANGE`; the others are good.
typedef int32_t (*nb_evaluate_function)(const struct nb_slice *parameters,
                                        size_t parameter_count,
                                        const double *inputs,
                                        double *values,
                                        size_t count);

// Writes the lowest and the highest input; `PARAMETERS` where there is none.
typedef int32_t (*nb_range_function)(const struct nb_slice *parameters,
                                     size_t parameter_count,
                                     double *lowest,
                                     double *highest);

// `PARAMETERS` and a text for a person where the parameters do not go together.
typedef int32_t (*nb_check_function)(const struct nb_slice *parameters,
                                     size_t parameter_count,
                                     struct nb_text *text);

// Where to start a fit to `count` points, an input and a value each.
//
// `start` holds one number per parameter: the present number or index, NaN for a list. The driver
// writes what is to be different; lists stay as they are whatever is written. `OUT_OF_RANGE` where
// the points give no start.
typedef int32_t (*nb_guess_function)(const struct nb_slice *parameters,
                                     size_t parameter_count,
                                     const double *inputs,
                                     const double *values,
                                     size_t count,
                                     double *start);

// Writes the standard uncertainty of the model itself at each input, in the unit of the value, after
// `free_count` parameters were fitted to points whose inputs are the nodes.
typedef int32_t (*nb_misfit_function)(const struct nb_slice *parameters,
                                      size_t parameter_count,
                                      const double *nodes,
                                      size_t node_count,
                                      size_t free_count,
                                      const double *inputs,
                                      double *values,
                                      size_t count);

// One of the values that a driver gives for an input. In Rust it is made by [`Output::new`].
struct nb_output {
    // Its name, as in the configuration.
    struct nb_text name;
    // What it is (`power`); none where the configuration says.
    struct nb_text quantity;
    // UCUM code of its unit (`mW`); none where the configuration says.
    struct nb_text unit;
};

// As `evaluate`, for the output of this index: 1 is the one after the first.
typedef int32_t (*nb_evaluate_output_function)(const struct nb_slice *parameters,
                                               size_t parameter_count,
                                               size_t output,
                                               const double *inputs,
                                               double *values,
                                               size_t count);

// A row of a fixed table.
struct nb_pair {
    // The input; inputs rise from row to row, or fall.
    double input;
    // The value there.
    double value;
};

// A driver, as it crosses. Functions are pure: the same parameters and inputs give the same numbers,
// from any thread. Nothing that the host hands over may be kept after the call.
struct nb_table {
    // Bytes of the whole table, as it is known to whoever wrote it.
    uint32_t size;
    // Version of the interface that the table was written for.
    uint32_t major;
    // The same, the lesser part.
    uint32_t minor;
    // Bytes from one row of `parameters` to the next.
    uint32_t parameter_size;
    // The driver's name, as in the configuration.
    struct nb_text name;
    // One line for a person.
    struct nb_text summary;
    // What is measured (`temperature`); none where the configuration says.
    struct nb_text quantity;
    // UCUM code of the value's unit (`Cel`); none where the configuration says.
    struct nb_text unit;
    // Electrical quantities that it takes, the preferred one first; at least one.
    const uint32_t *inputs;
    // How many.
    size_t input_count;
    // Its parameters; perhaps none.
    const struct nb_parameter *parameters;
    // How many.
    size_t parameter_count;
    // Values of inputs. Required, where there are no `pairs`.
    nb_evaluate_function evaluate;
    // Slopes, value over input, at inputs. May be null: the host takes differences.
    nb_evaluate_function slope;
    // Inputs that can be turned into values with these parameters. Required, where there are no
    // `pairs`.
    nb_range_function range;
    // What is wrong with these parameters. May be null: nothing ever is.
    nb_check_function check;
    // The start of a fit. Since 1.1; may be null: the present parameters are it.
    nb_guess_function guess;
    // How wrong the model can be after a fit. Since 1.1; may be null: it is taken for right.
    nb_misfit_function misfit;
    // All values that it gives for an input. Since 1.1; may be null: it gives one. The first is the
    // one of `evaluate`, and has the quantity and the unit of the table.
    const struct nb_output *outputs;
    // How many.
    size_t output_count;
    // Values of the outputs after the first. Since 1.1; may be null where there are none.
    nb_evaluate_output_function evaluate_output;
    // Which way the values of `evaluate` go with a rising input, whatever the parameters: one of
    // `NB_MONOTONIC_`. Since 1.1; the host looks whether it is so.
    uint32_t monotonic;
    // A fixed table in the place of `evaluate` and `range`, with straight lines between its rows,
    // whose inputs rise or fall. Since 1.1; may be null.
    const struct nb_pair *pairs;
    // How many.
    size_t pair_count;
};

#ifdef __cplusplus
extern "C" {
#endif

// What a driver's library exports.
extern const struct nb_table *const nightbench_driver;

#ifdef __cplusplus
}
#endif

#endif
