/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tolerance intervals against published factors, and against what they promise. */
#include "core/tolerance/tolerance.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

struct published {
    double coverage;
    double confidence;
    size_t n;
    double factor;
};

/* The factor as the table has it: with so many digits, rounded up where the table does that. */
static void assert_factor(double factor, const struct published *row, double digit, bool up)
{
    double printed = up ? ceil(factor / digit - 1e-6) * digit : round(factor / digit) * digit;
    if (!(fabs(printed - row->factor) < digit / 10))
        fail_msg("n %zu, %g/%g: %.6f, published %.6f", row->n, row->coverage, row->confidence,
                 factor, row->factor);
}

static void factors_of_annex_f(void **unused)
{
    /* ISO 16269-6:2014, annex F, m = 1, as quoted by the tests of a public library (MIT licence). */
    static const struct published rows[] = {
        { 0.90, 0.90, 2, 15.5124 },  { 0.90, 0.90, 8, 2.7542 },   { 0.90, 0.90, 16, 2.2537 },
        { 0.90, 0.90, 35, 1.9906 },  { 0.90, 0.90, 100, 1.8232 }, { 0.95, 0.95, 5, 5.0769 },
        { 0.95, 0.95, 10, 3.3935 },  { 0.95, 0.95, 26, 2.6188 },  { 0.95, 0.95, 90, 2.2519 },
        { 0.95, 0.95, 200, 2.1430 }, { 0.99, 0.95, 3, 12.6472 },  { 0.99, 0.95, 9, 4.6329 },
        { 0.99, 0.95, 17, 3.7606 },  { 0.99, 0.95, 35, 3.2762 },  { 0.99, 0.95, 100, 2.9356 },
        { 0.95, 0.99, 2, 182.7201 }, { 0.95, 0.99, 9, 4.5810 },   { 0.95, 0.99, 17, 3.3641 },
        { 0.95, 0.99, 40, 2.6836 },  { 0.95, 0.99, 150, 2.2712 }, { 0.99, 0.99, 3, 28.5857 },
        { 0.99, 0.99, 7, 7.1908 },   { 0.99, 0.99, 15, 4.6212 },  { 0.99, 0.99, 28, 3.8042 },
    };
    (void)unused;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct tolerance_claim claim = { rows[i].coverage, rows[i].confidence };
        assert_factor(tolerance_factor_two_sided(rows[i].n, claim), &rows[i], 1e-4, true);
    }
}

static void factors_of_one_side(void **unused)
{
    /* D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers (Wiley, 2018), table XII. */
    static const struct published rows[] = {
        { 0.95, 0.95, 5, 4.203 },  { 0.95, 0.95, 10, 2.911 }, { 0.95, 0.95, 20, 2.396 },
        { 0.95, 0.95, 30, 2.220 }, { 0.95, 0.95, 50, 2.065 }, { 0.95, 0.95, 100, 1.927 },
        { 0.99, 0.95, 5, 5.741 },  { 0.99, 0.95, 10, 3.981 }, { 0.99, 0.95, 30, 3.064 },
        { 0.95, 0.95, 2, 26.260 },
    };
    (void)unused;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct tolerance_claim claim = { rows[i].coverage, rows[i].confidence };
        assert_factor(tolerance_factor_one_sided(rows[i].n, claim), &rows[i], 1e-3, false);
    }
    /* e-Handbook of Statistical Methods (NIST/SEMATECH), 7.2.6.3: by the non-central t. */
    assert_within(tolerance_factor_one_sided(43, (struct tolerance_claim) { 0.9, 0.99 }), 1.873954,
                  1e-6);
}

static void counts_without_a_distribution(void **unused)
{
    const struct tolerance_claim usual = { 0.95, 0.95 }, strict = { 0.99, 0.95 },
                                 mild = { 0.9, 0.9 };
    (void)unused;
    /* Least counts of 93 and 59 for 95/95, 473 and 299 for 99/95, 38 and 22 for 90/90: widely
     * tabulated after Wilks, from memory; the two-sided ones satisfy 1 - n P^(n-1) + (n-1) P^n >= confidence, the
     * one-sided ones 1 - P^n. */
    assert_int_equal(tolerance_least(usual, TOLERANCE_TWO_SIDED), 93);
    assert_int_equal(tolerance_least(usual, TOLERANCE_UPPER), 59);
    assert_int_equal(tolerance_least(strict, TOLERANCE_TWO_SIDED), 473);
    assert_int_equal(tolerance_least(strict, TOLERANCE_LOWER), 299);
    assert_int_equal(tolerance_least(mild, TOLERANCE_TWO_SIDED), 38);
    assert_int_equal(tolerance_least(mild, TOLERANCE_UPPER), 22);
    /* 95/95 from the second value from the end takes 93 as well, from the third 124 (from memory). */
    assert_int_equal(tolerance_gaps(92, usual, TOLERANCE_UPPER), 1);
    assert_int_equal(tolerance_gaps(93, usual, TOLERANCE_UPPER), 2);
    assert_int_equal(tolerance_gaps(123, usual, TOLERANCE_UPPER), 2);
    assert_int_equal(tolerance_gaps(124, usual, TOLERANCE_UPPER), 3);
    assert_int_equal(tolerance_gaps(92, usual, TOLERANCE_TWO_SIDED), 0);
}

static void normality_of_known_values(void **unused)
{
    /* Values and statistic: scipy 1.10.1, stats.anderson(x, "norm").statistic, by n and by n² modified here. */
    const double skew[] = { 1.0, 1.1, 1.1, 1.2, 1.3, 1.4, 1.6, 2.0, 2.9, 5.0 };
    const double even[] = { 4.91, 4.95, 4.97, 4.99, 5.00, 5.01, 5.03, 5.05, 5.09 };
    (void)unused;
    const double plain_skew = 1.2204305991101574, plain_even = 0.10010341104564802;
    assert_within(tolerance_normality(skew, 10), plain_skew * (1 + 0.075 + 0.0225), 1e-9);
    assert_within(tolerance_normality(even, 9), plain_even * (1 + 0.75 / 9 + 2.25 / 81), 1e-9);
    assert_true(isnan(tolerance_normality(even, 7)));
    const double alike[] = { 5, 5, 5, 5, 5, 5, 5, 5 };
    assert_true(isnan(tolerance_normality(alike, 8)));
    struct tolerance odd;
    tolerance_make(skew, 10, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_TWO_SIDED, &odd);
    assert_int_equal(odd.kind, TOLERANCE_ODD);
    assert_int_equal(odd.needed, 93);
    assert_true(isnan(odd.low) && isnan(odd.high));
}

/* Numbers of a linear congruential generator (D. E. Knuth, MMIX), in 0 to 1. */
static double draw(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*state >> 11) + 0.5) / 9007199254740992.0;
}

static double draw_normal(uint64_t *state)
{
    double angle = draw(state);
    return sqrt(-2 * log(draw(state))) * cos(2 * M_PI * angle);
}

/* The share of the standard normal distribution within bounds, one of which may be none. */
static double held(double low, double high)
{
    return (erf(high / M_SQRT2) - erf(low / M_SQRT2)) / 2;
}

/* How often mean ± factor times deviation of n normal values held the coverage, of 4000 samples. */
static double kept(size_t n, bool both)
{
    const struct tolerance_claim claim = { 0.9, 0.95 };
    const double factor =
        both ? tolerance_factor_two_sided(n, claim) : tolerance_factor_one_sided(n, claim);
    uint64_t state = n;
    int good = 0;
    for (int i = 0; i < 4000; i++) {
        double sum = 0, squares = 0;
        for (size_t k = 0; k < n; k++) {
            double value = draw_normal(&state);
            sum += value;
            squares += value * value;
        }
        double mean = sum / (double)n;
        double reach = factor * sqrt((squares - sum * mean) / ((double)n - 1));
        good += held(both ? mean - reach : -INFINITY, mean + reach) >= claim.coverage;
    }
    return good / 4000.0;
}

static void what_is_claimed_is_kept(void **unused)
{
    (void)unused;
    /* Of 4000 samples 95 % are kept within 1.4 %: four standard deviations of the count. */
    for (int both = 0; both < 2; both++) {
        assert_within(kept(8, both), 0.95, 0.014);
        assert_within(kept(30, both), 0.95, 0.014);
    }
}

static void too_few_have_none(void **unused)
{
    const double values[] = { 1, 2, 3, 4, 5, 6, 7 };
    struct tolerance tolerance;
    (void)unused;
    tolerance_make(values, 7, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_UPPER, &tolerance);
    assert_int_equal(tolerance.kind, TOLERANCE_TOO_FEW);
    assert_int_equal(tolerance.needed, 8);
    assert_within(tolerance.mean, 4, 1e-15);
    assert_true(isnan(tolerance.low) && isnan(tolerance.high));
    tolerance_make(values, 0, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_UPPER, &tolerance);
    assert_true(isnan(tolerance.mean) && isnan(tolerance.deviation));
    assert_true(isnan(tolerance_factor_two_sided(1, (struct tolerance_claim) { 0.95, 0.95 })));
    assert_true(isnan(tolerance_factor_one_sided(9, (struct tolerance_claim) { 1, 0.95 })));
    assert_true(isnan(tolerance_factor_two_sided(9, (struct tolerance_claim) { NAN, 0.95 })));
}

static void many_odd_ones_are_bounded_by_values(void **unused)
{
    double values[200];
    struct tolerance tolerance;
    (void)unused;
    for (int i = 0; i < 200; i++)
        values[i] = exp(i / 40.0);
    tolerance_make(values, 200, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_TWO_SIDED,
                   &tolerance);
    assert_int_equal(tolerance.kind, TOLERANCE_FREE);
    size_t gaps = tolerance_gaps(200, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_TWO_SIDED);
    assert_true(gaps >= 2);
    assert_within(tolerance.low, values[gaps / 2 - 1], 0);
    assert_within(tolerance.high, values[200 - (gaps - gaps / 2)], 0);
    tolerance_make(values, 200, (struct tolerance_claim) { 0.95, 0.95 }, TOLERANCE_UPPER,
                   &tolerance);
    assert_true(isinf(tolerance.low) && isfinite(tolerance.high));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(factors_of_annex_f),
        cmocka_unit_test(factors_of_one_side),
        cmocka_unit_test(counts_without_a_distribution),
        cmocka_unit_test(normality_of_known_values),
        cmocka_unit_test(what_is_claimed_is_kept),
        cmocka_unit_test(too_few_have_none),
        cmocka_unit_test(many_odd_ones_are_bounded_by_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
