/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/waveshape.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

enum { POINTS = 20000 };

static const double pi = 3.14159265358979323846;

/* One period of a shape, by its definition. */
static double at(struct waveshape shape, double t)
{
    switch (shape.kind) {
    case WAVESHAPE_SINE:
        return sin(2 * pi * t);
    case WAVESHAPE_SQUARE:
        return t < 0.5 ? 1 : -1;
    case WAVESHAPE_TRIANGLE:
        return fabs(4 * t - 2) - 1;
    case WAVESHAPE_SAWTOOTH:
        return 2 * t - 1;
    case WAVESHAPE_HALF_WAVE:
        return fmax(0, sin(2 * pi * t));
    case WAVESHAPE_FULL_WAVE:
        return sin(pi * t);
    default:
        return t < shape.duty ? 1 : 0;
    }
}

/*
 * The steady state behind v' = (x - v) / tau with x straight between points, which
 * is exact for straight lines; `width` is the period over tau.
 */
static void filter(const double *in, double width, double *out)
{
    double a = width / POINTS, e = exp(-a), mean = -expm1(-a) / a, v = 0;
    for (int i = 0; i < POINTS; i++)
        v = e * v + (mean - e) * in[(i + POINTS - 1) % POINTS] + (1 - mean) * in[i];
    v /= -expm1(-width);
    for (int i = 0; i < POINTS; i++)
        out[i] = v = e * v + (mean - e) * in[(i + POINTS - 1) % POINTS] + (1 - mean) * in[i];
}

static void figures(const double *v, double *rms, double *swing)
{
    double sum = 0, squares = 0, low = INFINITY, high = -INFINITY;
    for (int i = 0; i < POINTS; i++) {
        sum += v[i];
        low = fmin(low, v[i]);
        high = fmax(high, v[i]);
    }
    for (int i = 0; i < POINTS; i++)
        squares += (v[i] - sum / POINTS) * (v[i] - sum / POINTS);
    *rms = sqrt(squares / POINTS);
    *swing = high - low;
}

/* Against stepping through the period: right where the header says exact, else no less. */
static void losses_are_exact_or_bounds(void **state)
{
    (void)state;
    static const struct {
        struct waveshape shape;
        bool exact;
    } cases[] = {
        { { WAVESHAPE_SINE, 0 }, true },       { { WAVESHAPE_SQUARE, 0 }, true },
        { { WAVESHAPE_TRIANGLE, 0 }, true },   { { WAVESHAPE_PULSE, 0.1 }, true },
        { { WAVESHAPE_PULSE, 0.9 }, true },    { { WAVESHAPE_SAWTOOTH, 0 }, false },
        { { WAVESHAPE_HALF_WAVE, 0 }, false }, { { WAVESHAPE_FULL_WAVE, 0 }, false },
    };
    static const double ratios[] = { 0.003, 0.03, 0.1, 0.3, 1, 3 };
    static double in[POINTS], out[POINTS];
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        double rms, swing, left, seen;
        for (int i = 0; i < POINTS; i++)
            in[i] = at(cases[c].shape, ((double)i + 0.5) / POINTS);
        figures(in, &rms, &swing);
        for (size_t r = 0; r < sizeof ratios / sizeof *ratios; r++) {
            filter(in, 2 * pi / ratios[r], out);
            figures(out, &left, &seen);
            struct waveshape unknown = { WAVESHAPE_UNKNOWN, 0 };
            double losses[] = { 1 - left / rms, 1 - seen / swing };
            for (int peaks = 0; peaks < 2; peaks++) {
                double told = waveshape_loss(cases[c].shape, peaks, ratios[r], 1);
                if (cases[c].exact)
                    assert_within(told, losses[peaks], 5e-4);
                assert_true(told >= losses[peaks] - 5e-4);
                if (cases[c].shape.kind != WAVESHAPE_PULSE)
                    assert_true(waveshape_loss(unknown, peaks, ratios[r], 1) >=
                                losses[peaks] - 5e-4);
            }
        }
    }
}

static void figures_are_those_of_the_shape(void **state)
{
    (void)state;
    static const struct waveshape shapes[] = {
        { WAVESHAPE_SINE, 0 },      { WAVESHAPE_SQUARE, 0 },    { WAVESHAPE_TRIANGLE, 0 },
        { WAVESHAPE_SAWTOOTH, 0 },  { WAVESHAPE_HALF_WAVE, 0 }, { WAVESHAPE_FULL_WAVE, 0 },
        { WAVESHAPE_PULSE, 0.125 },
    };
    for (size_t s = 0; s < sizeof shapes / sizeof *shapes; s++) {
        struct waveshape_figures told = waveshape_figures(shapes[s]);
        double mean = 0, squares = 0, magnitude = 0, peak = 0;
        for (int i = 0; i < POINTS; i++)
            mean += at(shapes[s], ((double)i + 0.5) / POINTS) / POINTS;
        for (int i = 0; i < POINTS; i++) {
            double v = at(shapes[s], ((double)i + 0.5) / POINTS) - mean;
            squares += v * v / POINTS;
            magnitude += fabs(v) / POINTS;
            peak = fmax(peak, fabs(v));
        }
        assert_within(told.mean, mean, 1e-4);
        assert_near(told.ac_rms, sqrt(squares), 1e-4);
        assert_near(told.ac_magnitude, magnitude, 1e-4);
        assert_near(waveshape_crest(shapes[s]), peak / sqrt(squares), 1e-3);
    }
}

static void what_is_not_known_gives_no_number(void **state)
{
    (void)state;
    struct waveshape unknown = { WAVESHAPE_UNKNOWN, 0 }, bad = { WAVESHAPE_PULSE, 1 };
    struct waveshape sine = { WAVESHAPE_SINE, 0 };
    assert_true(isnan(waveshape_crest(unknown)) && isnan(waveshape_crest(bad)));
    assert_true(isnan(waveshape_average_error(unknown, true)));
    assert_true(waveshape_loss(sine, false, 1e3, NAN) == 0);
    assert_true(waveshape_loss(sine, false, NAN, 1e3) == 1);
    assert_true(waveshape_loss(sine, false, 0, 1e3) == 0);
    assert_true(waveshape_loss(bad, false, 1, 1e3) == 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(losses_are_exact_or_bounds),
        cmocka_unit_test(figures_are_those_of_the_shape),
        cmocka_unit_test(what_is_not_known_gives_no_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
