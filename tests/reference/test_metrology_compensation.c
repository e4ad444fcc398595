/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A 10:1 divider that is compensated, or not: 9 Mohm with C1 into 1 Mohm with
 * 120 pF. Source of all: own derivation. By Kirchhoff's laws k_dc = R2 / (R1 +
 * R2), k_hf = C1 / (C1 + C2), and what is between them decays with tau = (R1 ||
 * R2) (C1 + C2).
 */
#include "core/input/compensation.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

enum { SAMPLES = 2000 };

/* 9 megohm into 1 megohm: 45 to 270 us. */
static const struct sought sought = { 45e-6, 270e-6, 0 };

/*
 * Half a period of a square wave in the steady state: it begins d above its
 * level and ends d e^(-T/2tau) above, and one edge of 2 makes d = 2 (ratio - 1)
 * - d e^(-T/2tau).
 */
static void plateau(double ratio, double tau, double half, double *volts)
{
    double deviation = 2 * (ratio - 1) / (1 + exp(-half / tau));
    for (size_t i = 0; i < SAMPLES; i++)
        volts[i] = 1 + deviation * exp(-(double)i * (half / SAMPLES) / tau);
}

/* Own derivation: v(t) = V [k_dc + (k_hf - k_dc) exp(-t/tau)], times 10, 1 kHz, +-1 V. */
static void square_wave(void **state)
{
    (void)state;
    static const struct {
        double ratio, tau, after, before;
        enum compensation_kind kind;
    } rows[] = {
        { 0.769230769231, 0.000117, 0.5448037302, 0.9936578082, COMPENSATION_UNDER },
        { 0.909090909091, 0.0001188, 0.8208449359, 0.9973368823, COMPENSATION_UNDER },
        { 1.0, 0.00012, 1.0, 1.0, COMPENSATION_RIGHT },
        { 1.11111111111, 0.0001215, 1.218653309, 1.003568913, COMPENSATION_OVER },
        { 1.30434782609, 0.0001242, 1.598021115, 1.010674537, COMPENSATION_OVER },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double volts[SAMPLES];
        struct compensation found;
        struct failure failure = { 0 };
        plateau(rows[i].ratio, rows[i].tau, 0.5e-3, volts);
        assert_near(volts[0], rows[i].after, 1e-9);
        assert_true(compensation_judge(volts, SAMPLES, 0.5e-3 / SAMPLES, -rows[i].before, 0, 0.005,
                                       &sought, &found, &failure));
        assert_int_equal(found.kind, rows[i].kind);
        assert_near(found.ratio, rows[i].ratio, 1e-7);
        if (rows[i].kind != COMPENSATION_RIGHT)
            assert_near(found.tau, rows[i].tau, 1e-6);
    }
}

/* Own derivation: H = Y1 / (Y1 + Y2), times 10. */
static void frequency_response(void **state)
{
    (void)state;
    static const double rows[][4] = {
        /* ratio, tau, hertz, |H| times 10 */
        { 0.769230769231, 0.000117, 10.0, 0.9999889683 },
        { 0.769230769231, 0.000117, 100.0, 0.9989021029 },
        { 0.769230769231, 0.000117, 1000.0, 0.9256150261 },
        { 0.769230769231, 0.000117, 10000.0, 0.7740372452 },
        { 0.769230769231, 0.000117, 1000000.0, 0.7692312603 },
        { 1.0, 0.00012, 10.0, 1.0 },
        { 1.0, 0.00012, 100.0, 1.0 },
        { 1.0, 0.00012, 1000.0, 1.0 },
        { 1.0, 0.00012, 10000.0, 1.0 },
        { 1.0, 0.00012, 1000000.0, 1.0 },
        { 1.30434782609, 0.0001242, 10.0, 1.000021353 },
        { 1.30434782609, 0.0001242, 100.0, 1.002120285 },
        { 1.30434782609, 0.0001242, 1000.0, 1.124918913 },
        { 1.30434782609, 0.0001242, 10000.0, 1.299997286 },
        { 1.30434782609, 0.0001242, 1000000.0, 1.304347385 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct compensation found = { COMPENSATION_OVER, rows[i][0], 0, rows[i][1], NULL };
        assert_within(1 + compensation_error(&found, rows[i][2]), rows[i][3], 1e-8);
    }
}

static void what_is_no_edge_is_refused(void **state)
{
    (void)state;
    double volts[SAMPLES];
    struct compensation found;
    struct failure failure = { 0 };
    plateau(1.2, 1e-4, 0.5e-3, volts);
    assert_false(compensation_judge(volts, 31, 1e-6, -1, 0, 0.01, &sought, &found, &failure));
    assert_int_equal(failure.code, FAILURE_NO_VALUE);
    failure_clear(&failure);
    assert_false(compensation_judge(volts, SAMPLES, 0, -1, 0, 0.01, &sought, &found, &failure));
    failure_clear(&failure);
    volts[7] = NAN;
    assert_false(compensation_judge(volts, SAMPLES, 1e-6, -1, 0, 0.01, &sought, &found, &failure));
    for (size_t i = 0; i < SAMPLES; i++)
        volts[i] = i % 2 ? 1 : -1;
    failure_clear(&failure);
    assert_false(compensation_judge(volts, SAMPLES, 1e-6, 0, 0, 0.01, &sought, &found, &failure));
}

/* A whole record, cut where it likes: the plateau is found, and where its edge was. */
static void the_plateau_is_found(void **state)
{
    (void)state;
    enum { RECORD = 3000, HALF = 700 };
    static const double tau = 120;
    static const struct sought samples = { 50, 300, 0 };
    for (int start = 0; start < 2 * HALF; start += 137) {
        double volts[RECORD];
        struct compensation found;
        struct plateau plateau;
        struct failure failure = { 0 };
        double deviation = 2 * 0.25 / (1 + exp(-HALF / tau));
        for (int i = 0; i < RECORD; i++) {
            int half = (i + start) / HALF;
            double v = 1 + deviation * exp(-((i + start) % HALF) / tau);
            volts[i] = half % 2 ? -v : v;
        }
        assert_true(compensation_plateau(volts, RECORD, &plateau));
        assert_in_range(plateau.count, HALF - 5, HALF);
        assert_true(compensation_judge(&volts[plateau.first], plateau.count, 1, plateau.before,
                                       plateau.lead, 0.01, &samples, &found, &failure));
        assert_near(found.ratio, 1.25, 0.01);
        assert_near(found.tau, tau, 0.02);
    }
    double flat[100] = { 0 };
    struct plateau plateau;
    assert_false(compensation_plateau(flat, 100, &plateau));
}

/* With noise the ratio is right within three of its own uncertainties. */
static void noise_is_in_the_uncertainty(void **state)
{
    (void)state;
    unsigned random = 1;
    for (int run = 0; run < 20; run++) {
        double volts[SAMPLES];
        struct compensation found;
        struct failure failure = { 0 };
        plateau(1.3, 1.2e-4, 0.5e-3, volts);
        double before = -(1 + 0.6 / (1 + exp(-0.5e-3 / 1.2e-4)) * exp(-0.5e-3 / 1.2e-4));
        for (size_t i = 0; i < SAMPLES; i++) {
            random = random * 1664525U + 1013904223U;
            volts[i] += 0.1 * ((double)random / 4294967296.0 - 0.5);
        }
        assert_true(compensation_judge(volts, SAMPLES, 0.5e-3 / SAMPLES, before, 0, 0.01, &sought,
                                       &found, &failure));
        assert_int_equal(found.kind, COMPENSATION_OVER);
        assert_within(found.ratio, 1.3, 3 * found.ratio_standard + 1e-3);
    }
}

/* A record of a divider's answer to a wave of `half` seconds, as a converter of 8 bits shows it. */
static enum compensation_kind judged(double ratio, double tau, double half, double interval,
                                     double height, double *found_ratio)
{
    enum { RECORD = 2000 };
    double volts[RECORD];
    double step = 2 / height; /* the square wave is `height` steps high */
    double deviation = 2 * (ratio - 1) / (1 + exp(-half / tau));
    struct sought limits = sought;
    struct compensation found;
    struct plateau plateau;
    struct failure failure = { 0 };
    limits.step = step;
    for (int i = 0; i < RECORD; i++) {
        double t = (i + 0.37) * interval;
        double since = fmod(t, half), sign = fmod(t, 2 * half) < half ? 1 : -1;
        volts[i] = step * rint(sign * (1 + deviation * exp(-since / tau)) / step);
    }
    if (!compensation_plateau(volts, RECORD, &plateau) ||
        !compensation_judge(&volts[plateau.first], plateau.count, interval, plateau.before,
                            plateau.lead * interval, 0.01, &limits, &found, &failure))
        return COMPENSATION_UNDECIDED;
    *found_ratio = found.ratio;
    assert_int_equal(found.lack != NULL, found.kind == COMPENSATION_UNDECIDED);
    return found.kind;
}

/*
 * Any divider on any square wave, at any sample rate: what is far from right is never called
 * right, and what is right never called wrong; 1 kHz in a record of some periods is decided.
 */
static void nothing_is_called_that_does_not_show(void **state)
{
    static const double ratios[] = { 0.8, 0.9, 0.97, 1, 1.03, 1.1, 1.25 };
    static const double taus[] = { 50e-6, 120e-6, 260e-6 };
    int wrong = 0, decided = 0, undecided = 0;

    (void)state;
    for (size_t r = 0; r < sizeof ratios / sizeof *ratios; r++)
        for (size_t t = 0; t < sizeof taus / sizeof *taus; t++)
            for (double half = 1e-6; half < 1; half *= 2.7)
                for (double samples = 20; samples < 700; samples *= 2.3)
                    for (double height = 6; height < 250; height *= 3) {
                        double seen = NAN;
                        enum compensation_kind kind =
                            judged(ratios[r], taus[t], half, half / samples, height, &seen);
                        bool under = ratios[r] < 1, right = ratios[r] == 1;
                        bool good =
                            kind == COMPENSATION_UNDECIDED || kind == (right   ? COMPENSATION_RIGHT
                                                                       : under ? COMPENSATION_UNDER
                                                                               : COMPENSATION_OVER);
                        undecided += kind == COMPENSATION_UNDECIDED;
                        decided += kind != COMPENSATION_UNDECIDED;
                        wrong += !good;
                        if (!good)
                            print_message("%g %g half %g samples %g height %g: %s %g\n", ratios[r],
                                          taus[t], half, samples, height, compensation_name(kind),
                                          seen);
                    }
    print_message("%d decided, %d not decidable, %d wrong\n", decided, undecided, wrong);
    assert_int_equal(wrong, 0);
    double seen;
    assert_int_equal(judged(1, 120e-6, 0.5e-3, 5e-6, 150, &seen), COMPENSATION_RIGHT);
    assert_int_equal(judged(0.8, 120e-6, 0.5e-3, 5e-6, 150, &seen), COMPENSATION_UNDER);
    assert_near(seen, 0.8, 0.01);
    assert_int_equal(judged(1.03, 120e-6, 0.5e-3, 5e-6, 150, &seen), COMPENSATION_OVER);
    assert_int_equal(judged(0.8, 120e-6, 5e-6, 50e-9, 150, &seen), COMPENSATION_UNDECIDED);
}

/* Half a wave that is no square: a sine, a triangle, an exponential edge that is the source's. */
static void other_waves_are_not_decidable(void **state)
{
    enum { RECORD = 2000, HALF = 200 };

    (void)state;
    for (int shape = 0; shape < 3; shape++) {
        double volts[RECORD];
        struct compensation found;
        struct plateau plateau;
        struct failure failure = { 0 };
        for (int i = 0; i < RECORD; i++) {
            double turn = fmod(i + 0.3, 2 * HALF) / (2 * HALF);
            volts[i] = shape == 0   ? sin(6.283185307179586 * turn)
                       : shape == 1 ? 1 - 4 * fabs(turn - 0.5)
                                    : (turn < 0.5 ? 1 : -1) * sqrt(fmod(2 * turn, 1));
        }
        if (compensation_plateau(volts, RECORD, &plateau) &&
            compensation_judge(&volts[plateau.first], plateau.count, 2.5e-6, plateau.before,
                               plateau.lead * 2.5e-6, 0.01, &sought, &found, &failure))
            assert_int_equal(found.kind, COMPENSATION_UNDECIDED);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(square_wave),
        cmocka_unit_test(frequency_response),
        cmocka_unit_test(what_is_no_edge_is_refused),
        cmocka_unit_test(the_plateau_is_found),
        cmocka_unit_test(noise_is_in_the_uncertainty),
        cmocka_unit_test(nothing_is_called_that_does_not_show),
        cmocka_unit_test(other_waves_are_not_decidable),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
