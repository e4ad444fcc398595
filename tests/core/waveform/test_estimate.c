/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * core/waveform/estimate, core/waveform/sine_check and core/waveform/extreme: corrections against the signal that the noise
 * was added to.
 */
#include "core/waveform/estimate.h"
#include "core/waveform/extreme.h"
#include "core/waveform/sine_check.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/core/noise.h"
#include "tests/near.h"

enum { SAMPLES = 1000, ROUNDS = 400, SEED = 31 };

static double trace[SAMPLES];
static const double interval = 1e-3;

enum shown { SINE, HIDDEN, BENT, DRIFTING, SPIKED, TRIANGLE, SQUARE };

/* Twelve and a half periods of amplitude 2 on a level of 0.5, with noise. */
static void show(enum shown what, double sigma, double phase)
{
    for (size_t i = 0; i < SAMPLES; i++) {
        double turn = phase + 12.5 * (double)i / SAMPLES;
        double part = turn - floor(turn);
        double sine = sin(2 * M_PI * turn);
        double level = what == TRIANGLE ? 1 - 4 * fabs(part - 0.5)
                       : what == SQUARE ? (part < 0.5 ? 1 : -1)
                                        : sine;
        if (what == BENT || what == HIDDEN)
            level += (what == BENT ? 0.05 : 0.007) * sin(6 * M_PI * turn);
        if (what == DRIFTING)
            level *= 1 + 0.1 * (double)i / SAMPLES;
        trace[i] = 0.5 + 2 * level + sigma * noise();
    }
    if (what == SPIKED)
        trace[SAMPLES / 2] += 10 * sigma;
}

static struct series record(void)
{
    return series_of_reals(trace, SAMPLES, interval);
}

static struct estimate estimated(enum aspect aspect)
{
    struct series series = record();
    struct waveform waveform;
    assert_true(waveform_measure_series(&series, &waveform));
    return estimate_aspect(&series, &waveform, aspect, 0);
}

/*
 * Means of the largest of n normal samples: 0.5642, 1.5388, 2.5076, 3.2414 for n = 2, 10, 100,
 * 1000 (own derivation: order statistics of the normal law, x n pdf(x) cdf(x)^(n-1) by quadrature).
 */
static void largest_of_many(void **state)
{
    (void)state;
    assert_within(extreme_mean(1), 0, 0);
    assert_within(extreme_mean(2), 0.5642, 0.13);
    assert_within(extreme_mean(10), 1.5388, 0.07);
    assert_within(extreme_mean(100), 2.5076, 0.03);
    assert_within(extreme_mean(1000), 3.2414, 0.02);
    assert_within(extreme_quantile(1, 0.97724986805182079), 2, 1e-9);
    assert_within(extreme_quantile(2, 0.97724986805182079 * 0.97724986805182079), 2, 1e-9);
}

/* How many of the records pass as sines. */
static int passed(enum shown what, double sigma)
{
    int count = 0;
    for (int i = 0; i < ROUNDS; i++) {
        struct sine_figures figures;
        show(what, sigma, uniform());
        struct series series = record();
        count += sine_check(&series, 12.5, 0, &figures);
    }
    return count;
}

static void only_sines_pass(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    assert_true(passed(SINE, 0.1) >= ROUNDS - 6);
    assert_true(passed(SINE, 1e-6) >= ROUNDS - 6);
    assert_int_equal(passed(BENT, 0.1), 0);
    assert_int_equal(passed(DRIFTING, 0.05), 0);
    assert_int_equal(passed(SPIKED, 0.1), 0);
    assert_int_equal(passed(TRIANGLE, 0.2), 0);
    assert_int_equal(passed(SQUARE, 0.2), 0);
}

/* Rounding repeats with the phase: eight samples a period leave five that count. */
static void rounding_is_not_noise(void **state)
{
    (void)state;
    struct sine_figures figures;
    struct series series = record();
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = 0.01 * round(100 * (0.5 + 2 * sin(2 * M_PI * ((double)i / 8 + 0.03))));
    assert_true(sine_check(&series, 125, 0.01, &figures));
    assert_within(figures.roundings, 5, 1e-6);
    assert_within(figures.amplitude, 2, 0.01);
    assert_false(sine_check(&series, 125, 0.6, &figures));
}

static const struct {
    enum aspect aspect;
    double sine;
    double triangle;
    double square;
} truths[] = {
    { ASPECT_AC, 1.4142135623730951, 1.1547005383792515, 2 },
    { ASPECT_RMS, 1.5, 1.2583057392117916, 2.0615528128088303 },
    { ASPECT_PEAK_TO_PEAK, 4, 4, 4 },
    { ASPECT_MAXIMUM, 2.5, 2.5, 2.5 },
    { ASPECT_MINIMUM, -1.5, -1.5, -1.5 },
};

/* The mean of many is the truth, and they scatter as they say; the few not taken for sines, or for steady ones, apart. */
static void a_sine_is_corrected(void **state)
{
    (void)state;
    srandom(SEED);
    for (size_t row = 0; row < sizeof truths / sizeof *truths; row++) {
        double sum = 0, square = 0, scatter = 0;
        int fitted = 0;
        for (int i = 0; i < ROUNDS; i++) {
            show(SINE, 0.1, uniform());
            struct estimate estimate = estimated(truths[row].aspect);
            if (estimate.doubt > 0)
                continue;
            double error = estimate.value - truths[row].sine;
            scatter = estimate.scatter;
            sum += error;
            square += error * error;
            fitted++;
        }
        assert_true(fitted >= ROUNDS - 12);
        assert_within(sum / fitted, 0, 5 * scatter / sqrt(fitted));
        assert_within(sqrt(square / fitted) / scatter, 1, 0.2);
    }
}

/* A third harmonic that noise hides, 0.7 %, lowers the crest of 2.5 by 0.014 and is seen on average. */
static void a_hidden_harmonic_is_no_error(void **state)
{
    (void)state;
    double sum = 0, scatter = 0;
    int fitted = 0;
    srandom(SEED);
    for (int i = 0; i < 4 * ROUNDS; i++) {
        show(HIDDEN, 0.1, uniform());
        struct estimate estimate = estimated(ASPECT_MAXIMUM);
        if (estimate.doubt > 0)
            continue;
        sum += estimate.value - (2.5 - 0.014);
        scatter = estimate.scatter;
        fitted++;
    }
    assert_true(fitted >= 3 * ROUNDS);
    assert_within(sum / fitted, 0, 5 * scatter / sqrt(fitted));
}

/* What is no sine lies within what is in doubt and three times the scatter. */
static void others_are_bounded(void **state)
{
    (void)state;
    srandom(SEED);
    for (size_t row = 0; row < sizeof truths / sizeof *truths; row++) {
        for (int i = 0; i < ROUNDS; i++) {
            show(TRIANGLE, 0.1, uniform());
            struct estimate estimate = estimated(truths[row].aspect);
            double room = estimate.doubt + 4 * estimate.scatter + estimate.edges;
            assert_true(fabs(estimate.value - truths[row].triangle) <= room);
            show(SQUARE, 0.1, uniform());
            estimate = estimated(truths[row].aspect);
            room = estimate.doubt + 4 * estimate.scatter + estimate.edges;
            assert_true(fabs(estimate.value - truths[row].square) <= room);
        }
    }
}

/*
 * Ten samples a period, two of them up: the edges may lie half an interval further out or in, and
 * of a pulse between 0 and 1 a mean of 0.2 is uncertain by 0.1. Ramps and sines have no edges.
 */
static void edges_between_samples(void **state)
{
    (void)state;
    struct series series = record();
    struct waveform waveform;
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = i % 10 < 2;
    assert_true(waveform_measure_series(&series, &waveform));
    assert_within(estimate_aspect(&series, &waveform, ASPECT_DC, 0).edges, 0.1, 0.001);
    assert_within(estimate_aspect(&series, &waveform, ASPECT_RMS, 0).edges, 0.1 / 2 / sqrt(0.2),
                  0.002);
    show(SINE, 0, 0);
    assert_true(estimated(ASPECT_DC).edges == 0);
    show(TRIANGLE, 0, 0);
    assert_true(estimated(ASPECT_RMS).edges == 0);
}

/*
 * A rail without any ripple, between any two codes: what is seen is noise and rounding, and nothing
 * may well be the truth. Half a step beside is the rounding's own.
 */
static void a_quiet_rail_may_have_no_ripple(void **state)
{
    (void)state;
    srandom(SEED);
    for (int i = 0; i < 20 * ROUNDS; i++) {
        double step = 0.01, level = 5 + step * uniform(), sigma = 4 * step * uniform() * uniform();
        for (size_t j = 0; j < SAMPLES; j++)
            trace[j] = step * round((level + sigma * noise()) / step);
        struct series series = record();
        struct waveform waveform;
        assert_true(waveform_measure_series(&series, &waveform));
        struct estimate ripple = estimate_aspect(&series, &waveform, ASPECT_AC, step);
        assert_true(ripple.value <= ripple.doubt + 2 * ripple.scatter + 0.47 * step);
        assert_true(ripple.value <= fmax(sigma, step));
    }
}

/* A spike in one period of twelve is the largest value, however level the others are. */
static void a_spike_is_not_averaged_away(void **state)
{
    (void)state;
    int narrow = 0;
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        show(SQUARE, 0.02, uniform());
        struct estimate level = estimated(ASPECT_MAXIMUM);
        assert_within(level.value, 2.5, level.doubt + 4 * level.scatter);
        narrow += level.scatter + level.doubt < 0.03;
        trace[SAMPLES / 2] = 3;
        struct estimate spiked = estimated(ASPECT_MAXIMUM);
        assert_within(spiked.value, 3, spiked.doubt + 2 * spiked.scatter);
    }
    assert_true(narrow >= ROUNDS * 9 / 10);
}

/* What is no value stays none. */
static void nothing_of_the_whole(void **state)
{
    (void)state;
    show(SINE, 0, 0);
    assert_true(isnan(estimated(ASPECT_WHOLE).value));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(largest_of_many),
        cmocka_unit_test(only_sines_pass),
        cmocka_unit_test(rounding_is_not_noise),
        cmocka_unit_test(a_sine_is_corrected),
        cmocka_unit_test(a_hidden_harmonic_is_no_error),
        cmocka_unit_test(others_are_bounded),
        cmocka_unit_test(edges_between_samples),
        cmocka_unit_test(a_quiet_rail_may_have_no_ripple),
        cmocka_unit_test(a_spike_is_not_averaged_away),
        cmocka_unit_test(nothing_of_the_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
