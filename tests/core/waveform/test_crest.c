/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * core/waveform/local_fit and core/waveform/crest: polynomials and shapes that records were made
 * with. Variances of least squares through evenly spaced points are own derivation, beside each.
 */
#include "core/waveform/crest.h"
#include "core/waveform/local_fit.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/core/noise.h"
#include "tests/near.h"

enum { POINTS = 1001, SAMPLES = 1000, ROUNDS = 200, SEED = 43 };

static double trace[SAMPLES];
static struct fold fold;

/* Evenly from -1 to 1, of 1 - 2 x + 3 x^2. */
static struct local_sums parabola(void)
{
    struct local_sums sums = { 0 };
    for (int i = 0; i < POINTS; i++) {
        double x = -1 + 2.0 * i / (POINTS - 1);
        local_add(&sums, x, 1 - 2 * x + 3 * x * x, 2);
    }
    return sums;
}

static void a_parabola_comes_back(void **state)
{
    (void)state;
    struct local_sums sums = parabola();
    struct local_fit fit;
    assert_true(local_solve(&sums, 2, &fit));
    assert_within(fit.terms[0], 1, 1e-9);
    assert_within(fit.terms[1], -2, 1e-9);
    assert_within(fit.terms[2], 3, 1e-9);
    assert_within(fit.left, 0, 1e-6);
    assert_within(local_value(&fit, 0.5), 0.75, 1e-9);
    /* The mean of 3 x^2 is 1; about the line, 9 (1/5 - 1/9) is left of it on average. */
    assert_true(local_solve(&sums, 1, &fit));
    assert_within(fit.terms[0], 2, 0.01);
    assert_within(fit.left / sums.powers[0], 0.8, 0.01);
}

/* Of n samples: 1/n for a level, 4/n at the end of a line, 9/4n in the middle of a parabola. */
static void variances(void **state)
{
    (void)state;
    struct local_sums sums = parabola();
    double samples = 2.0 * POINTS;
    assert_within(local_variance(&sums, 0, 0.3) * samples, 1, 1e-9);
    assert_within(local_variance(&sums, 1, 1) * samples, 4, 0.01);
    assert_within(local_variance(&sums, 2, 0) * samples, 2.25, 0.01);
}

/* One point, and two at the same place. */
static void too_few_points(void **state)
{
    (void)state;
    struct local_sums sums = { 0 };
    struct local_fit fit;
    local_add(&sums, 0.5, 1, 1);
    assert_false(local_solve(&sums, 0, &fit));
    local_add(&sums, 0.5, 2, 1);
    local_add(&sums, 0.5, 3, 1);
    assert_true(local_solve(&sums, 0, &fit));
    assert_false(local_solve(&sums, 1, &fit));
}

static double square(double turn)
{
    return turn < 0.5 ? 1 : -1;
}

static double bent(double turn)
{
    return (sin(2 * M_PI * turn) - 0.01 * sin(6 * M_PI * turn)) / 1.01;
}

static double triangle(double turn)
{
    return 1 - 4 * fabs(turn - 0.5);
}

static double sawtooth(double turn)
{
    return 2 * turn - 1;
}

static double narrow(double turn)
{
    return turn < 0.02 ? 1 : -1;
}

static const struct {
    const char *name;
    double (*at)(double turn);
    double samples; /* that must be averaged at least, of a thousand */
} shapes[] = { { "square", square, 50 },
               { "sine with a harmonic", bent, 10 },
               { "triangle", triangle, 30 },
               { "sawtooth", sawtooth, 20 },
               { "narrow pulse", narrow, 3 } };

static bool show(double (*at)(double turn), double periods, double sigma)
{
    double phase = uniform();
    for (size_t i = 0; i < SAMPLES; i++) {
        double turn = phase + periods * (double)i / SAMPLES;
        trace[i] = at(turn - floor(turn)) + sigma * noise();
    }
    struct series series = series_of_reals(trace, SAMPLES, 1);
    return fold_make(&series, periods / SAMPLES, sigma, &fold);
}

/* They reach from -1 to 1, are found there, scatter no more than they say, and use the samples. */
static void crests_are_found(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (size_t shape = 0; shape < sizeof shapes / sizeof *shapes; shape++) {
        double square_sum = 0, samples = 0, found = 0;
        for (int i = 0; i < ROUNDS; i++) {
            struct crest crest;
            double sign = i % 2 ? 1 : -1;
            if (!show(shapes[shape].at, 4 + 20 * uniform(), 0.01) ||
                !fold_crest(&fold, sign, fold.noise, &crest))
                continue;
            found++;
            double off = fmax(0, fabs(crest.value - sign) - crest.doubt) / crest.scatter;
            square_sum += off * off;
            samples += crest.samples;
        }
        print_message("%s: %g of %d found, off by %.2f of the scatter, %.0f samples\n",
                      shapes[shape].name, found, ROUNDS, sqrt(square_sum / found), samples / found);
        assert_true(found >= 0.9 * ROUNDS);
        assert_true(square_sum <= 1.1 * 1.1 * found);
        assert_true(samples >= shapes[shape].samples * found);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_parabola_comes_back),
        cmocka_unit_test(variances),
        cmocka_unit_test(too_few_points),
        cmocka_unit_test(crests_are_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
