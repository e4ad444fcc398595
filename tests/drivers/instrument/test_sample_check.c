/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Records that are not what the profile says are refused, and those that are
 * never: random records are written in one form and read in another.
 */
#include "drivers/instrument/sample_check.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 500, TURNS = 4000 };

static const double step_volts = 0.01;

/* xorshift64*: the generator is our own so that a seed gives the same numbers everywhere. */
static uint64_t draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

static double uniform(uint64_t *state)
{
    return (double)(draw(state) >> 11) / 9007199254740992.0;
}

/* A sine, a square, a sawtooth or a level, with noise or without, in whole steps. */
static void draw_record(uint64_t *seed, double most, double *steps)
{
    double amplitude = most * 0.4 * uniform(seed), level = most * 0.4 * (2 * uniform(seed) - 1);
    double noise = uniform(seed) < 0.5 ? 0 : 4 * uniform(seed);
    double per_sample = pow(10, -3 + 2.5 * uniform(seed)), phase = uniform(seed);
    int shape = (int)(draw(seed) % 4);
    for (size_t i = 0; i < POINTS; i++) {
        double t = phase + per_sample * (double)i;
        double turn = t - floor(t);
        double wave = shape == 0   ? sin(2 * M_PI * turn)
                      : shape == 1 ? (turn < 0.5 ? 1 : -1)
                      : shape == 2 ? 2 * turn - 1
                                   : 0;
        double jitter = noise * (uniform(seed) + uniform(seed) + uniform(seed) - 1.5);
        steps[i] = rint(level + amplitude * wave + jitter);
    }
}

static bool fits(const struct waveform_coding *coding, const double *numbers)
{
    struct failure failure = { 0 };
    bool fit = sample_check(coding, numbers, POINTS, step_volts, &failure);
    assert_true(fit || failure.code == FAILURE_UNEXPECTED_REPLY);
    assert_true(fit || failure.expected[0]);
    return fit;
}

/* A 12-bit converter, its codes `up` times their size in 16 bits. */
static struct waveform_coding twelve_bits(double up)
{
    return (struct waveform_coding) { .encoding = ENCODING_BLOCK,
                                      .format = SAMPLE_INT16,
                                      .codes = true,
                                      .code_low = -2048 * up,
                                      .code_high = 2047 * up,
                                      .codes_per_division = 256 * up,
                                      .codes_per_step = up };
}

static double swap(double number)
{
    uint16_t bits = (uint16_t)(int)number;
    return (int16_t)(uint16_t)(bits << 8 | bits >> 8);
}

/* Whether no sample of a record that was let through is a wrong one that counts as a value. */
static bool harmless(const struct waveform_coding *coding, const double *numbers,
                     const double *truth)
{
    bool wrong = false;
    for (size_t i = 0; i < POINTS; i++) {
        if (numbers[i] <= coding->code_low || numbers[i] >= coding->code_high)
            return true; /* clipped: there is no value */
        wrong |= numbers[i] != truth[i];
    }
    return !wrong;
}

static void records_as_the_profile_says_are_let_through(void **state)
{
    uint64_t seed = 0x5ca1ab1e;
    static const double ups[] = { 1, 16 };
    double steps[POINTS], numbers[POINTS];

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        double up = ups[turn % 2];
        struct waveform_coding coding = twelve_bits(up);
        struct waveform_coding list = coding;
        list.encoding = ENCODING_LIST;
        struct waveform_coding volts = { .encoding = ENCODING_LIST, .format = SAMPLE_REAL64 };
        draw_record(&seed, 2000, steps);
        for (size_t i = 0; i < POINTS; i++)
            numbers[i] = steps[i] * up;
        assert_true(fits(&coding, numbers));
        assert_true(fits(&list, numbers));
        for (size_t i = 0; i < POINTS; i++)
            numbers[i] =
                (steps[i] + 70) * step_volts - 70 * step_volts; /* zero, but for rounding */
        assert_true(fits(&volts, numbers));
    }
}

static void swapped_bytes_are_refused(void **state)
{
    uint64_t seed = 0xdecade;
    double steps[POINTS], truth[POINTS], numbers[POINTS];
    int passed = 0, looked = 0;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        double up = turn % 2 ? 16 : 1;
        struct waveform_coding coding = twelve_bits(up);
        draw_record(&seed, 2000, steps);
        for (size_t i = 0; i < POINTS; i++) {
            truth[i] = steps[i] * up;
            numbers[i] = swap(truth[i]);
        }
        looked++;
        passed += fits(&coding, numbers) && !harmless(&coding, numbers, truth);
    }
    /* What is left is records of a few codes: a level, or a square without noise. */
    print_message("%d of %d passed\n", passed, looked);
    assert_true(passed < looked / 20);
}

static void wrong_justification_is_refused(void **state)
{
    uint64_t seed = 0xfacade;
    double steps[POINTS];
    struct waveform_coding coding = twelve_bits(16);

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        draw_record(&seed, 2000, steps);
        steps[turn % POINTS] = steps[turn % POINTS] * 16 + 1 + turn % 15;
        assert_false(fits(&coding, steps));
    }
}

static void other_formats_of_numbers_are_refused(void **state)
{
    uint64_t seed = 0xbeef;
    double steps[POINTS], truth[POINTS], numbers[POINTS];
    struct waveform_coding volts = { .encoding = ENCODING_BLOCK, .format = SAMPLE_REAL32 };

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        bool off_screen = false, all_zero = true;
        draw_record(&seed, 100, steps);
        for (size_t i = 0; i < POINTS; i++) {
            float real = (float)(steps[i] / 64);
            uint32_t bits;
            memcpy(&bits, &real, sizeof bits);
            bits = __builtin_bswap32(bits);
            memcpy(&real, &bits, sizeof real);
            truth[i] = steps[i] / 64;
            numbers[i] = (double)real;
            all_zero &= truth[i] == 0;
            off_screen |= !(fabs(numbers[i]) < 4);
        }
        assert_true(all_zero || off_screen || !fits(&volts, numbers));
    }
}

/* Half as many samples as there are numbers, each behind its time or its count. */
static void pairs_are_refused(void **state)
{
    uint64_t seed = 0xabcdef;
    double steps[POINTS], numbers[POINTS];

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        bool code = turn % 2;
        struct waveform_coding list = { .encoding = ENCODING_LIST,
                                        .format = SAMPLE_INT16,
                                        .codes = code,
                                        .code_low = -2048,
                                        .code_high = 2047,
                                        .codes_per_step = 1 };
        double interval = code ? 1 : pow(10, -9 + 8 * uniform(&seed));
        bool ramp = true;
        draw_record(&seed, 2000, steps);
        for (size_t i = 0; i < POINTS / 2; i++) {
            numbers[2 * i] = interval * (double)i;
            numbers[2 * i + 1] = steps[i] * (code ? 1 : step_volts);
            ramp &= i == 0 || steps[i] > steps[i - 1];
        }
        assert_true(ramp || !fits(&list, numbers));
    }
}

static void the_count_is_exact(void **state)
{
    (void)state;
    for (size_t count = 0; count < 2100; count++) {
        struct failure failure = { 0 };
        assert_int_equal(sample_check_count(count, 1000, &failure), count == 1000);
    }
    assert_false(sample_check_count(3, 3, NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(records_as_the_profile_says_are_let_through),
        cmocka_unit_test(swapped_bytes_are_refused),
        cmocka_unit_test(wrong_justification_is_refused),
        cmocka_unit_test(other_formats_of_numbers_are_refused),
        cmocka_unit_test(pairs_are_refused),
        cmocka_unit_test(the_count_is_exact),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
