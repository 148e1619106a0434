/*
 * The C table of a driver, interface 1.0: the model from a probe's electrical quantity to a
 * physical one. The same layout as src/table.rs and src/parameter.rs, which a test compares by
 * loading a driver written against this header.
 *
 * A driver's library exports one symbol:
 *
 *     const struct nb_table *const nightbench_driver = &table;
 *
 * Functions are pure: the same parameters and inputs give the same numbers, from any thread.
 * Strings, rows and functions live as long as the library, which is never unloaded. Nothing that
 * the host hands over may be kept after the call.
 */
#ifndef NIGHTBENCH_DRIVER_H
#define NIGHTBENCH_DRIVER_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#define NB_MAJOR 1u
#define NB_MINOR 0u

/* How a call ended. */
#define NB_DONE 0
#define NB_OUT_OF_RANGE 1 /* at least one input has no value: write NaN there, the others as ever */
#define NB_PARAMETERS 2   /* the parameters do not go together */
#define NB_WRONG_CALL 4   /* a null pointer, or another count of parameters than declared */

/* Electrical quantities. */
#define NB_OHM 0u
#define NB_VOLT 1u
#define NB_RATIO 2u /* of the converter's full scale, 0 to 1 */
#define NB_NUMBER 3u

/* What a parameter holds. */
#define NB_PARAMETER_NUMBER 0u
#define NB_PARAMETER_LIST 1u
#define NB_PARAMETER_CHOICE 2u

/* UTF-8; null for none. */
struct nb_text {
    const char *data;
    size_t length;
};
#define NB_TEXT(literal) {(literal), sizeof(literal) - 1}
#define NB_NO_TEXT {NULL, 0}

/* The value of one parameter: one number (NaN where not given), the index of a choice, or a list. */
struct nb_slice {
    const double *data;
    size_t length;
};

struct nb_parameter {
    struct nb_text name;
    struct nb_text summary;
    struct nb_text unit; /* UCUM; "1" for plain numbers and choices */
    uint32_t kind;
    double fallback; /* a number's default, NaN for none; a choice's default index */
    double lowest;   /* a number's bounds, both included */
    double highest;
    size_t most; /* most numbers in a list */
    const struct nb_text *words;
    size_t word_count;
};

struct nb_table {
    uint32_t size; /* sizeof(struct nb_table) */
    uint32_t major;
    uint32_t minor;
    uint32_t parameter_size; /* sizeof(struct nb_parameter) */
    struct nb_text name;
    struct nb_text summary;
    struct nb_text quantity; /* none: the configuration says */
    struct nb_text unit;     /* UCUM; none: the configuration says */
    const uint32_t *inputs;  /* the preferred one first */
    size_t input_count;
    const struct nb_parameter *parameters;
    size_t parameter_count;
    /* One value per input; the two arrays do not overlap. Required. */
    int32_t (*evaluate)(const struct nb_slice *parameters, size_t parameter_count,
                        const double *inputs, double *values, size_t count);
    /* Slopes, value over input. Null: the host takes differences. */
    int32_t (*slope)(const struct nb_slice *parameters, size_t parameter_count,
                     const double *inputs, double *slopes, size_t count);
    /* Inputs that can be turned into values with these parameters. Required. */
    int32_t (*range)(const struct nb_slice *parameters, size_t parameter_count,
                     double *lowest, double *highest);
    /* NB_PARAMETERS and a text for what is wrong. Null: nothing ever is. */
    int32_t (*check)(const struct nb_slice *parameters, size_t parameter_count,
                     struct nb_text *text);
};

#endif
