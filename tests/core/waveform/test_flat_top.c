/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Records cut off by a converter, over bits, gains put right, offsets and
 * single precision, and records that are not: how many of either are told.
 */
#include "core/waveform/flat_top.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <math.h>

enum { POINTS = 1000, TURNS = 2000 };

enum shape { SINE, SQUARE, TRIANGLE, PULSE, LEVEL, SHAPES };

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

/* A converter of the range -4 to 4 V that is right but for its gain, and says volts. */
struct converter {
    int bits;
    double gain;   /* of the volts that it says */
    double offset; /* volts in its middle */
    bool single;
};

struct wave {
    enum shape shape;
    double amplitude, level, per_sample, phase, noise; /* volts; periods */
};

static double wave_at(const struct wave *wave, size_t i)
{
    double t = wave->phase + wave->per_sample * (double)i, turn = t - floor(t);
    switch (wave->shape) {
    case SINE:
        return sin(2 * M_PI * turn);
    case SQUARE:
        return turn < 0.5 ? 1 : -1;
    case TRIANGLE:
        return turn < 0.5 ? 4 * turn - 1 : 3 - 4 * turn;
    case PULSE:
        return turn < 0.1 ? 1 : -1;
    default:
        return 0;
    }
}

static struct ends ends_of(const struct converter *converter, double gain_error)
{
    double step = ldexp(8, -converter->bits);
    double edge = 4 - 1.5 * step; /* as the profile's window for volts */
    return (struct ends) { converter->offset - edge, converter->offset + edge,
                           step + gain_error * 4, step };
}

/* Fills a record; whether the converter was at an end. */
static bool convert(const struct converter *converter, const struct wave *wave, uint64_t *seed,
                    double *volts)
{
    double step = ldexp(8, -converter->bits), half = ldexp(1, converter->bits - 1);
    bool cut = false;
    for (size_t i = 0; i < POINTS; i++) {
        double noise = 2 * wave->noise * (uniform(seed) + uniform(seed) + uniform(seed) - 1.5);
        double v = wave->level + wave->amplitude * wave_at(wave, i) + noise;
        double code = rint((v - converter->offset) / converter->gain / step);
        cut |= code < -half || code > half - 1;
        code = fmin(fmax(code, -half), half - 1);
        volts[i] = converter->offset + code * step * converter->gain;
        if (converter->single)
            volts[i] = (double)(float)volts[i];
    }
    return cut;
}

static struct converter draw_converter(uint64_t *seed, double gain_error)
{
    static const int bits[] = { 8, 10, 12 };
    return (struct converter) { bits[draw(seed) % 3], 1 + gain_error * (2 * uniform(seed) - 1),
                                draw(seed) % 2 ? 0 : 40 * (2 * uniform(seed) - 1), draw(seed) % 2 };
}

static struct wave draw_wave(uint64_t *seed, double least, double most)
{
    double amplitude = least + (most - least) * uniform(seed);
    return (struct wave) { .shape = (enum shape)(draw(seed) % SHAPES),
                           .amplitude = amplitude,
                           .per_sample = pow(10, -2.7 + 1.7 * uniform(seed)),
                           .phase = uniform(seed),
                           .noise = draw(seed) % 2 ? 0 : 0.1 * uniform(seed) };
}

static bool told(const struct ends *ends, const double *volts, bool *edge)
{
    struct flat_top flat = flat_top(volts, POINTS, ends);
    *edge = false;
    for (size_t i = 0; i < POINTS; i++)
        *edge |= volts[i] >= ends->high || volts[i] <= ends->low;
    return *edge || flat.high || flat.low;
}

/* Whatever lies well beyond the converter is told, by its edge or by its flat top. */
static void records_cut_off_are_told(void **state)
{
    uint64_t seed = 0xc11b;
    double volts[POINTS];
    int missed = 0, cut = 0, by_edge = 0;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        struct converter converter = draw_converter(&seed, 0.03);
        struct wave wave = draw_wave(&seed, 4.4, 12);
        bool edge;
        wave.level = converter.offset + (wave.shape == LEVEL ? 6 : 0);
        if (!convert(&converter, &wave, &seed, volts))
            continue;
        struct ends ends = ends_of(&converter, 0.03);
        cut++;
        missed += !told(&ends, volts, &edge);
        by_edge += edge;
    }
    print_message("%d cut off, %d by the edge, %d missed\n", cut, by_edge, missed);
    assert_true(cut > TURNS * 9 / 10);
    assert_int_equal(missed, 0);
}

/* An amplifier that ends where nobody said, in a record with noise of a step and more. */
static void a_flat_top_in_the_middle_is_told_by_noise(void **state)
{
    uint64_t seed = 0xf1a7;
    double volts[POINTS];
    int missed = 0;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < TURNS; turn++) {
        struct converter converter = { 8, 1, 0, turn % 2 };
        struct wave wave = draw_wave(&seed, 2.4, 3.2);
        double step = ldexp(8, -8), end = 2;
        bool edge;
        wave.shape = turn % 3 ? SINE : TRIANGLE;
        wave.per_sample = 0.002 + 0.02 * uniform(&seed);
        wave.noise = step * (1.5 + 3 * uniform(&seed));
        convert(&converter, &wave, &seed, volts);
        for (size_t i = 0; i < POINTS; i++)
            volts[i] = fmin(volts[i], end);
        struct ends ends = ends_of(&converter, 0.03);
        struct flat_top flat = flat_top(volts, POINTS, &ends);
        missed += !flat.high;
        assert_false(flat.low);
        (void)edge;
    }
    print_message("%d of %d missed\n", missed, TURNS);
    assert_true(missed < TURNS / 50);
}

/* Within the screen and away from its ends nothing is cut off, however flat. */
static void whole_records_are_not(void **state)
{
    uint64_t seed = 0x600d;
    double volts[POINTS];
    int false_alarms[SHAPES] = { 0 }, all[SHAPES] = { 0 };

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int turn = 0; turn < 5 * TURNS; turn++) {
        struct converter converter = draw_converter(&seed, 0.03);
        struct wave wave = draw_wave(&seed, 0, 3.5);
        bool edge;
        wave.level = converter.offset;
        if (convert(&converter, &wave, &seed, volts))
            continue;
        struct ends ends = ends_of(&converter, 0.03);
        all[wave.shape]++;
        false_alarms[wave.shape] += told(&ends, volts, &edge);
    }
    for (int i = 0; i < SHAPES; i++)
        print_message("shape %d: %d of %d\n", i, false_alarms[i], all[i]);
    assert_int_equal(false_alarms[SQUARE], 0);
    assert_int_equal(false_alarms[PULSE], 0);
    assert_int_equal(false_alarms[SINE] + false_alarms[TRIANGLE] + false_alarms[LEVEL], 0);
}

/* The last code below the edge, and what single precision makes of the edge itself. */
static void one_step_below_the_edge(void **state)
{
    (void)state;
    for (int bits = 8; bits <= 14; bits++) {
        double step = ldexp(0.08, -bits), high = 0.04 - 1.5 * step;
        struct ends ends = { -high, high, step, step };
        for (int below = 0; below <= 4; below++) {
            double top = (double)(float)(0.04 - below * step);
            double volts[8] = { 0, 0, top, top, top, top, 0, 0 };
            struct flat_top flat = flat_top(volts, 8, &ends);
            assert_int_equal(flat.high || top >= high, below <= 2);
            assert_false(flat.low);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(records_cut_off_are_told),
        cmocka_unit_test(a_flat_top_in_the_middle_is_told_by_noise),
        cmocka_unit_test(whole_records_are_not),
        cmocka_unit_test(one_step_below_the_edge),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
