/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * core/waveform/rhythm and core/waveform/fold: the period, the noise and the averages that records were
 * made with. The bounds are own derivation, given beside each.
 */
#include "core/waveform/fold.h"
#include "core/waveform/rhythm.h"
#include "core/waveform/waveform.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/core/noise.h"
#include "tests/near.h"

enum { SAMPLES = 1000, ROUNDS = 200, SEED = 41 };

static double trace[SAMPLES];
static struct fold fold;

static double pulse(double turn)
{
    return turn > 0.3 && turn < 0.6 ? 1 : 0;
}

static double sine(double turn)
{
    return sin(2 * M_PI * turn);
}

/* A record of `periods` of a shape with noise; each period's length in it off by `jitter` of one. */
static void show(double (*shape)(double), double periods, double sigma, double jitter)
{
    double phase = uniform(), last = -1, late = 0;
    for (size_t i = 0; i < SAMPLES; i++) {
        double turn = phase + periods * (double)i / SAMPLES;
        if (floor(turn) != last)
            late = jitter * (uniform() - 0.5);
        last = floor(turn);
        trace[i] = shape(fmod(turn - last + late + 1, 1)) + sigma * noise();
    }
}

static bool found(double periods, struct rhythm *rhythm)
{
    struct series series = series_of_reals(trace, SAMPLES, 1);
    struct waveform waveform;
    assert_true(waveform_measure_series(&series, &waveform));
    assert_within(waveform.frequency * SAMPLES, periods, 0.3);
    return rhythm_find(&series, waveform.minimum, waveform.maximum, waveform.noise,
                       waveform.frequency, rhythm);
}

/*
 * Fifty samples a period: two edges alone leave 0.08 periods open at the record's end, all forty of
 * them on average less than a quarter of that.
 */
static void edges_tell_the_period(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    double width = 0;
    for (int i = 0; i < ROUNDS; i++) {
        double periods = 20 + uniform();
        struct rhythm rhythm;
        show(pulse, periods, 0.01, 0);
        assert_true(found(periods, &rhythm));
        assert_true(rhythm.least * SAMPLES <= periods + 1e-9);
        assert_true(rhythm.most * SAMPLES >= periods - 1e-9);
        width += (rhythm.most - rhythm.least) * SAMPLES / ROUNDS;
        assert_true(rhythm.least <= rhythm.frequency && rhythm.frequency <= rhythm.most);
    }
    assert_within(width, 0, 0.02);
}

/* Edges that come by a sample early or late leave no common instant. */
static void edges_that_wander_tell_none(void **state)
{
    (void)state;
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        struct rhythm rhythm;
        show(pulse, 20.3, 0.01, 0.04);
        assert_false(found(20.3, &rhythm));
    }
}

static bool folded(double periods, double sigma)
{
    struct series series = series_of_reals(trace, SAMPLES, 1);
    return fold_make(&series, periods / SAMPLES, sigma, &fold);
}

/* Twenty samples a period bend by 5 % of the amplitude between neighbours; the noise is 0.5 %. */
static void curvature_is_no_noise(void **state)
{
    (void)state;
    srandom(SEED);
    double sum = 0;
    for (int i = 0; i < ROUNDS; i++) {
        show(sine, 50.3, 0.005, 0);
        assert_true(folded(50.3, 0.005));
        sum += fold.noise / ROUNDS;
    }
    assert_within(sum, 0.005, 0.0005);
    show(sine, 50, 0.005, 0); /* twenty places only, each fifty times */
    assert_true(folded(50, 0.05));
    assert_within(fold.noise, 0.005, 0.0006);
}

/* What differs from period to period is not folded. */
static void what_does_not_repeat_is_told(void **state)
{
    (void)state;
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        show(sine, 20.3, 0.005, 0.05);
        assert_false(folded(20.3, 0.005));
        show(pulse, 20.3, 0.005, 0.2);
        assert_false(folded(20.3, 0.005));
    }
}

/*
 * A pulse of 30 %: mean 0.3, mean square about it 0.21. Fifty samples a period leave each edge open by
 * half a fiftieth, all of them together by half a thousandth.
 */
static void averages_of_a_pulse(void **state)
{
    (void)state;
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        show(pulse, 20.3, 0.01, 0);
        assert_true(folded(20.3, 0.01));
        struct fold_averages seen = fold_average(&fold);
        assert_true(seen.edges > 0.0001 && seen.edges < 0.01);
        assert_within(seen.mean, 0.3, seen.edges + 5 * 0.01 * seen.spread);
        assert_within(seen.mean_square, 0.21, seen.square_edges + 5 * 0.01 * seen.spread);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(edges_tell_the_period), cmocka_unit_test(edges_that_wander_tell_none),
        cmocka_unit_test(curvature_is_no_noise), cmocka_unit_test(what_does_not_repeat_is_told),
        cmocka_unit_test(averages_of_a_pulse),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
