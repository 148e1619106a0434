/*
 * A driver in C that doubles its input, and misbehaves in one way: that named by HOW, at the input
 * 13. Invented, for the tests that see to it that nobody else suffers.
 */
#include "nightbench_driver.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

/* Ways to misbehave. */
#define HEALTHY 0
#define SEGFAULT 1
#define ABORT 2
#define SPIN 3
#define SLEEP 4
#define NO_NUMBER 5
#define TOO_MANY 6
#define LEAK 7
#define PRINT 8
#define EXIT 9
#define CRASH_WHEN_LOADED 10
#define HANG_IN_CHECK 11
#define NONSENSE 12
#define NO_SYMBOL 13
#define MAJOR_2 14
#define UNKNOWN_STATUS 15
#define CLOSE_ALL 16
#define FACTOR_3 17
#define WRITE_TO_HOST 18
#define SPY 19

#ifndef HOW
#define HOW HEALTHY
#endif
#define TRIGGER 13.0
#define FACTOR (HOW == FACTOR_3 ? 3.0 : 2.0)

static int32_t misbehave(double *values, size_t count) {
    switch (HOW) {
    case SEGFAULT:
        *(volatile int *)8 = 1;
        break;
    case ABORT:
        fprintf(stderr, "misbehaving.c: assertion failed\n");
        abort();
    case SPIN:
        for (volatile unsigned turns = 0;; turns++) {
        }
    case SLEEP: {
        struct timespec long_time = {3600, 0};
        nanosleep(&long_time, NULL);
        break;
    }
    case NO_NUMBER:
        values[0] = NAN;
        break;
    case TOO_MANY:
        for (size_t i = 0; i < count + 8; i++) values[i] = 1.0;
        break;
    case PRINT:
        printf("hello from the driver\n");
        fflush(stdout);
        break;
    case EXIT:
        exit(0);
    case UNKNOWN_STATUS:
        return 77;
    case CLOSE_ALL:
        for (int i = 0; i < 16; i++) close(i);
        break;
    case WRITE_TO_HOST:
        /* Whatever descriptor leads to the host gets a frame of 4 GiB. */
        for (int i = 3; i < 16; i++) (void)!write(i, "\xff\xff\xff\xff", 4);
        break;
    case SPY: {
        /* What it could do that a computation has no need of, one digit each. */
        pid_t child = fork();
        if (child == 0) _exit(0);
        values[0] = (open("/etc/passwd", O_RDONLY) >= 0 ? 1.0 : 0.0)
                  + (open("/etc/hostname", O_RDONLY) >= 0 ? 10.0 : 0.0)
                  + (open("/dev/shm/driver", O_WRONLY | O_CREAT, 0600) >= 0 ? 100.0 : 0.0)
                  + (socket(AF_INET, SOCK_STREAM, 0) >= 0 ? 1000.0 : 0.0)
                  + (child >= 0 ? 10000.0 : 0.0)
                  + (getenv("PATH") != NULL ? 100000.0 : 0.0);
        break;
    }
    }
    return NB_DONE;
}

/* Seen from elsewhere, for all that the compiler knows: else it would leave the leak out. */
char *volatile leaked;

static int32_t evaluate(const struct nb_slice *parameters, size_t parameter_count,
                        const double *inputs, double *values, size_t count) {
    int32_t status = NB_DONE;
    (void)parameters, (void)parameter_count;
    for (size_t i = 0; i < count; i++) values[i] = FACTOR * inputs[i];
    if (HOW == LEAK) {
        leaked = malloc(32 * 1024);
        if (leaked != NULL) memset(leaked, 1, 32 * 1024);
    }
    for (size_t i = 0; i < count && status == NB_DONE; i++) {
        if (inputs[i] == TRIGGER) status = misbehave(values, count);
    }
    return status;
}

static int32_t range(const struct nb_slice *parameters, size_t parameter_count,
                     double *lowest, double *highest) {
    (void)parameters, (void)parameter_count;
    *lowest = 0.0;
    *highest = 1e6;
    return NB_DONE;
}

static int32_t check(const struct nb_slice *parameters, size_t parameter_count,
                     struct nb_text *text) {
    (void)parameters, (void)parameter_count, (void)text;
    while (HOW == HANG_IN_CHECK) {
    }
    return NB_DONE;
}

#if HOW == CRASH_WHEN_LOADED
__attribute__((constructor)) static void loaded(void) {
    *(volatile int *)8 = 1;
}
#endif

static const uint32_t inputs[] = {NB_NUMBER};
static const struct nb_table table = {
    .size = sizeof(struct nb_table),
    .major = HOW == MAJOR_2 ? 2u : NB_MAJOR,
    .minor = HOW == MAJOR_2 ? 3u : NB_MINOR,
    .parameter_size = sizeof(struct nb_parameter),
    .name = NB_TEXT("misbehaving"),
#if HOW == NONSENSE
    .summary = NB_TEXT("a line\nand another \x1b[31m"),
#else
    .summary = NB_TEXT("doubles its input, and misbehaves at 13"),
#endif
    .quantity = NB_TEXT("count"), .unit = NB_TEXT("1"),
    .inputs = inputs, .input_count = 1,
    .evaluate = evaluate, .range = range, .check = check,
};

#if HOW == NO_SYMBOL
const struct nb_table *const some_other_driver = &table;
#else
const struct nb_table *const nightbench_driver = &table;
#endif
