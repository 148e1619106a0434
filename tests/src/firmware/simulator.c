/* An AVR board that is not there: runs a firmware in libsimavr, with its serial port on a pseudo-terminal
 * and voltages on its analogue inputs.
 *
 *     simulator FIRMWARE.elf SPEED TRANSCRIPT
 *
 * stdout   `port NAME`, the pseudo-terminal, after what libsimavr says of the firmware
 * stderr   `baud N`, the rate that the firmware has set, at its first byte; and what goes wrong
 * stdin    `input CHANNEL MILLIVOLT [RIPPLE_MILLIVOLT HERTZ]`  puts a voltage on an input
 *          `reset`    pulls the reset pin between two lines, as opening the port of a real board does
 *          `cut N`    pulls it after N more bytes
 *          `stall`    stops the firmware's timer interrupt for good
 *          its end is the end of the program, so none outlives a test that died
 * TRANSCRIPT  every byte that the firmware has sent
 *
 * Runs SPEED times as fast as the real board, never faster, and slower where the machine is busy. What is
 * simulated of the converter beyond libsimavr: its transfer by the data sheet, and the memory of its
 * sampling capacitor. The serial line has no bit errors here, and the crystal none either. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <avr_adc.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>

enum { CHANNELS = 8, SUPPLY_MV = 5000, STEPS = 1024, CLOCK_HZ = 16000000 };

/* How long the firmware runs before clock and stdin are looked at: 2 ms of its time. */
enum { SLICE_CYCLES = CLOCK_HZ / 500 };

/* A lag beyond this is not made up for: the board then has simply been slow. */
static const double MOST_LAG_S = 0.1;

/* Part of the channel before that the sampling capacitor still holds in the first conversion after a
 * change of channel; invented, and larger than life, so that nobody overlooks it. */
static const double MEMORY = 0.25;

/* Data sheet of the ATmega328P, "Register Summary": data space addresses. */
enum { UBRR0L = 0xc4, UBRR0H = 0xc5, UCSR0A = 0xc0, U2X0 = 0x02, TIMSK0 = 0x6e };

struct input {
    double millivolt, ripple, hertz;
};

static struct input inputs[CHANNELS];
static avr_t *avr;
static avr_irq_t *converter;
static int terminal;
static FILE *transcript;
static unsigned last_channel;
static bool between_lines = true, reset_wanted;
static long bytes_to_cut = -1;

static void fail(const char *what)
{
    fprintf(stderr, "simulator: %s: %s\n", what, errno ? strerror(errno) : "refused");
    exit(1);
}

static double voltage(unsigned channel)
{
    const struct input *input = &inputs[channel];
    double seconds = (double)avr->cycle / CLOCK_HZ;
    return input->millivolt + input->ripple * sin(2 * M_PI * input->hertz * seconds);
}

/* The voltage that libsimavr turns into the count of the data sheet, Vin * 1024 / Vref to the nearest:
 * it reckons with 1023 itself, and rounds down. */
static uint32_t as_libsimavr_wants_it(double millivolt)
{
    long count = lround(millivolt * STEPS / SUPPLY_MV);
    count = count < 0 ? 0 : count > STEPS - 1 ? STEPS - 1 : count;
    return (uint32_t)ceil((double)count * SUPPLY_MV / (STEPS - 1));
}

static void conversion_starts(avr_irq_t *irq, uint32_t value, void *unused)
{
    union {
        uint32_t value;
        avr_adc_mux_t mux;
    } what = { .value = value };
    unsigned channel = what.mux.src;
    (void)irq, (void)unused;
    if (what.mux.kind != ADC_MUX_SINGLE || channel >= CHANNELS) {
        return;
    }
    double old = voltage(last_channel), new = voltage(channel);
    avr_raise_irq(converter + channel, as_libsimavr_wants_it(new + MEMORY * (old - new)));
    last_channel = channel;
}

static void tell_baud(void)
{
    unsigned ubrr = avr->data[UBRR0H] << 8 | avr->data[UBRR0L];
    unsigned clocks = avr->data[UCSR0A] & U2X0 ? 8 : 16;
    fprintf(stderr, "baud %u\n", CLOCK_HZ / clocks / (ubrr + 1));
}

static void byte_sent(avr_irq_t *irq, uint32_t value, void *unused)
{
    static bool told;
    char byte = (char)value;
    (void)irq, (void)unused;
    if (!told) {
        tell_baud();
        told = true;
    }
    /* Nobody reads and the kernel's buffer is full: lost, as on a wire. */
    if (write(terminal, &byte, 1) < 0 && errno != EAGAIN) {
        fail("pseudo-terminal");
    }
    fputc(byte, transcript);
    between_lines = byte == '\n';
    if (between_lines) {
        fflush(transcript);
    }
    if (bytes_to_cut > 0 && --bytes_to_cut == 0) {
        reset_wanted = true;
    }
}

/* Unasked, libsimavr passes on only what changes, and a reset of the board asks for that again. But two
 * conversions in a row on one channel are two. */
static void watch_every_conversion(void)
{
    avr_irq_t *trigger = converter + ADC_IRQ_OUT_TRIGGER;
    avr_irq_set_flags(trigger, avr_irq_get_flags(trigger) & ~IRQ_FLAG_FILTERED);
    for (int channel = 0; channel < CHANNELS; channel++) {
        avr_irq_t *pin = converter + channel;
        avr_irq_set_flags(pin, avr_irq_get_flags(pin) & ~IRQ_FLAG_FILTERED);
    }
}

static void pull_reset_pin(void)
{
    avr_reset(avr);
    avr_regbit_set(avr, avr->reset_flags.extrf);
    fflush(transcript);
    reset_wanted = false;
    bytes_to_cut = -1;
}

/* Time asleep costs no time here; `keep_pace` waits for it. */
static void sleep_without_waiting(avr_t *unused, avr_cycle_count_t cycles)
{
    (void)unused, (void)cycles;
}

static int open_terminal(void)
{
    struct termios raw;
    int near = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (near < 0 || grantpt(near) || unlockpt(near) || fcntl(near, F_SETFL, O_NONBLOCK)) {
        fail("pseudo-terminal");
    }
    /* Held open so that the settings stay and writing never fails while no one else has it. */
    int far = open(ptsname(near), O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (far < 0 || tcgetattr(far, &raw)) {
        fail("pseudo-terminal");
    }
    cfmakeraw(&raw);
    if (tcsetattr(far, TCSANOW, &raw)) {
        fail("pseudo-terminal");
    }
    return near;
}

static void make_board(const char *firmware)
{
    elf_firmware_t code = { 0 };
    uint32_t no_flags = 0;
    if (elf_read_firmware(firmware, &code) || !(avr = avr_make_mcu_by_name("atmega328p"))) {
        fail(firmware);
    }
    avr_init(avr);
    code.frequency = CLOCK_HZ;
    code.vcc = code.avcc = code.aref = SUPPLY_MV;
    avr_load_firmware(avr, &code);
    avr->sleep = sleep_without_waiting;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &no_flags); /* no copy on stdout */
    converter = avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, 0);
    avr_irq_register_notify(converter + ADC_IRQ_OUT_TRIGGER, conversion_starts, NULL);
    avr_irq_register_notify(
        avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), byte_sent, NULL);
}

static void run_slice(void)
{
    avr_cycle_count_t end = avr->cycle + SLICE_CYCLES;
    watch_every_conversion();
    while (avr->cycle < end) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fail("the firmware has stopped");
        }
        if (reset_wanted && (bytes_to_cut == 0 || between_lines)) {
            pull_reset_pin();
            watch_every_conversion();
        }
    }
}

static void obey(const char *order)
{
    unsigned channel;
    struct input input = { 0 };
    if (sscanf(order, "input %u %lf %lf %lf", &channel, &input.millivolt, &input.ripple, &input.hertz) >= 2
        && channel < CHANNELS) {
        inputs[channel] = input;
    } else if (strcmp(order, "reset\n") == 0) {
        reset_wanted = true;
    } else if (strcmp(order, "stall\n") == 0) {
        avr->data[TIMSK0] = 0;
    } else if (sscanf(order, "cut %ld", &bytes_to_cut) != 1) {
        fail(order);
    }
}

/* Obeys what has come so far. */
static void listen(void)
{
    static char order[128];
    static size_t length;
    struct pollfd orders = { .fd = STDIN_FILENO, .events = POLLIN };
    while (poll(&orders, 1, 0) > 0) {
        if (length + 1 == sizeof order || read(STDIN_FILENO, order + length, 1) != 1) {
            exit(0);
        }
        if (order[length++] == '\n') {
            order[length] = '\0';
            obey(order);
            length = 0;
        }
    }
}

static double now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

/* Waits until the real clock, SPEED times as fast, has come as far as the board's. */
static void keep_pace(double speed)
{
    static double due;
    double ahead = (due += (double)SLICE_CYCLES / CLOCK_HZ / speed) - now();
    if (ahead > 0) {
        struct timespec pause = { .tv_sec = (time_t)ahead, .tv_nsec = (long)(fmod(ahead, 1) * 1e9) };
        nanosleep(&pause, NULL);
    } else if (ahead < -MOST_LAG_S) {
        due = now();
    }
}

int main(int count, char **arguments)
{
    double speed = count == 4 ? atof(arguments[2]) : 0;
    if (!(speed > 0) || !(transcript = fopen(arguments[3], "we"))) {
        fail("FIRMWARE.elf SPEED TRANSCRIPT");
    }
    terminal = open_terminal();
    make_board(arguments[1]);
    printf("port %s\n", ptsname(terminal));
    fflush(stdout);
    /* What libsimavr has to say from here on must not fail because nobody reads it. */
    dup2(STDERR_FILENO, STDOUT_FILENO);
    for (;;) {
        listen();
        run_slice();
        keep_pace(speed);
    }
}
