/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Type A evaluation against certified and published means and standard
 * deviations.
 */
#include "core/uncertainty/budget.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

#include "strd.h"

enum { NUMACC_SIZE = 1001, LARGEST_SET = 1001 };

struct certified {
    double mean;
    double deviation; /* of the single reading, n - 1 */
    double mean_tolerance;
    double deviation_tolerance; /* relative; what double precision data allow */
};

static void check(const double *readings, size_t n, const struct certified *certified)
{
    double mean = NAN;
    double standard = NAN;
    assert_true(type_a(readings, n, &mean, &standard));
    assert_near(mean, certified->mean, certified->mean_tolerance);
    assert_near(standard * sqrt((double)n), certified->deviation, certified->deviation_tolerance);
}

/* (base + x) / divisor, so that the reading is the double nearest to the decimal datum. */
static void check_set(const int *data, size_t n, int base, double divisor,
                      const struct certified *certified)
{
    double readings[LARGEST_SET];
    for (size_t i = 0; i < n; i++)
        readings[i] = (base + data[i]) / divisor;
    check(readings, n, certified);
}

#define CHECK_SET(data, base, divisor, certified)                                                  \
    check_set(data, sizeof(data) / sizeof((data)[0]), base, divisor, certified)

/* All certified values: NIST StRD, univariate summary statistics. */
static void measured_sets(void **state)
{
    (void)state;
    CHECK_SET(strd_michelso, 29900, 100.0,
              (&(struct certified) { 299.8524, 0.0790105478190518, 1e-14, 1e-13 }));
    CHECK_SET(strd_mavro, 200000, 100000.0,
              (&(struct certified) { 2.001856, 0.000429123454003053, 1e-14, 1e-13 }));
    CHECK_SET(strd_lottery, 0, 1.0,
              (&(struct certified) { 518.958715596330, 291.69972747096908, 1e-14, 1e-15 }));
    CHECK_SET(strd_lew, 0, 1.0,
              (&(struct certified) { -177.435, 277.33216804431614, 1e-14, 1e-15 }));
}

/* One reading of base + 0.2, then pairs of base + 0.1 and base + 0.3. */
static void check_numacc(double first, double low, double high, double tolerance)
{
    double readings[NUMACC_SIZE];
    readings[0] = first;
    for (size_t i = 1; i < NUMACC_SIZE; i += 2) {
        readings[i] = low;
        readings[i + 1] = high;
    }
    check(readings, NUMACC_SIZE, &(struct certified) { first, 0.1, 1e-14, tolerance });
}

/*
 * NIST StRD, NumAcc1 to NumAcc4. The last two cannot be better: their decimals
 * are no doubles, and the deviation of the nearest ones is 0.1000000000349 and
 * 0.1000000005588.
 */
static void numerical_accuracy_sets(void **state)
{
    (void)state;
    const double numacc1[] = { 10000001.0, 10000003.0, 10000002.0 };
    check(numacc1, 3, &(struct certified) { 10000002.0, 1.0, 1e-14, 1e-15 });
    check_numacc(1.2, 1.1, 1.3, 1e-15);
    check_numacc(1000000.2, 1000000.1, 1000000.3, 1e-9);
    check_numacc(10000000.2, 10000000.1, 10000000.3, 1e-7);
}

/* JCGM 100:2008 4.4.3 and Table 1 (from memory); digits recomputed. Printed s(mean): 0.33. */
static void twenty_temperatures(void **state)
{
    (void)state;
    const double celsius[] = { 96.9,   98.18, 98.25,  98.61,  99.03,  99.49,  99.56,
                               99.74,  99.89, 100.07, 100.33, 100.42, 100.68, 100.95,
                               101.11, 101.2, 101.57, 101.84, 102.36, 102.72 };
    double mean = NAN;
    double standard = NAN;
    assert_true(type_a(celsius, 20, &mean, &standard));
    assert_near(mean, 100.145, 1e-12);
    assert_near(standard, 0.3329157472047, 1e-12);
    assert_near(standard * sqrt(20.0), 1.48884448306, 1e-11);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(measured_sets),
        cmocka_unit_test(numerical_accuracy_sets),
        cmocka_unit_test(twenty_temperatures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
