/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Least squares, steps and drifts of a course against certified and published figures. */
#include "core/course/least_squares.h"
#include "core/course/outlook.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "tests/near.h"

#define COUNT(list) (sizeof(list) / sizeof *(list))

/* NIST Statistical Reference Datasets, linear regression, "Pontius": a load cell, to 3e6. */
static const double pontius_x[] = {
    150000,  300000,  450000,  600000,  750000,  900000,  1050000, 1200000, 1350000, 1500000,
    1650000, 1800000, 1950000, 2100000, 2250000, 2400000, 2550000, 2700000, 2850000, 3000000,
    150000,  300000,  450000,  600000,  750000,  900000,  1050000, 1200000, 1350000, 1500000,
    1650000, 1800000, 1950000, 2100000, 2250000, 2400000, 2550000, 2700000, 2850000, 3000000,
};
static const double pontius_y[] = {
    0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146,
    1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.983,   1.0915,
    1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
};

/* NIST Statistical Reference Datasets, non-linear regression, "Misra1a". */
static const double misra_x[] = {
    77.6, 114.9, 141.1, 190.8, 239.9, 289, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760,
};
static const double misra_y[] = {
    10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78,
};

/* Nile at Aswan, 1871 to 1970: Cobb, Biometrika 65 (1978) 243. */
static const double nile[] = {
    1120, 1160, 963, 1210, 1160, 1160, 813,  1230, 1370, 1140, 995,  935,  1110, 994,  1020,
    960,  1180, 799, 958,  1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774,  840,
    874,  694,  940, 833,  701,  916,  692,  1020, 1050, 969,  831,  726,  456,  824,  702,
    1120, 1100, 832, 764,  821,  768,  845,  864,  862,  698,  845,  744,  796,  1040, 759,
    781,  865,  845, 944,  984,  897,  822,  1010, 771,  676,  649,  846,  812,  742,  801,
    1040, 860,  874, 848,  890,  744,  749,  838,  1050, 918,  986,  797,  923,  975,  815,
    1020, 906,  901, 1170, 912,  746,  919,  718,  714,  740,
};

/* NIST/SEMATECH e-Handbook 1.4.2.8, a heat flow meter's factor. */
static const double zarr13[] = {
    9.206343, 9.299992, 9.277895, 9.305795, 9.275351, 9.288729, 9.287239, 9.260973, 9.303111,
    9.275674, 9.272561, 9.288454, 9.255672, 9.252141, 9.29767,  9.266534, 9.256689, 9.277542,
    9.248205, 9.252107, 9.276345, 9.278694, 9.267144, 9.246132, 9.238479, 9.269058, 9.248239,
    9.257439, 9.268481, 9.288454, 9.258452, 9.28613,  9.251479, 9.257405, 9.268343, 9.291302,
    9.21946,  9.270386, 9.218808, 9.241185, 9.269989, 9.226585, 9.258556, 9.286184, 9.320067,
    9.327973, 9.262963, 9.248181, 9.238644, 9.225073, 9.220878, 9.271318, 9.252072, 9.281186,
    9.270624, 9.294771, 9.301821, 9.278849, 9.23668,  9.233988, 9.244687, 9.221601, 9.207325,
    9.258776, 9.275708, 9.268955, 9.257269, 9.264979, 9.2955,   9.292883, 9.264188, 9.280731,
    9.267336, 9.300566, 9.253089, 9.261376, 9.238409, 9.225073, 9.235526, 9.23951,  9.264487,
    9.244242, 9.277542, 9.310506, 9.261594, 9.259791, 9.253089, 9.245735, 9.284058, 9.251122,
    9.275385, 9.254619, 9.279526, 9.275065, 9.261952, 9.275351, 9.252433, 9.230263, 9.25515,
    9.26878,  9.290389, 9.274161, 9.255707, 9.261663, 9.250455, 9.261952, 9.264041, 9.264509,
    9.242114, 9.239674, 9.221553, 9.241935, 9.215265, 9.28593,  9.271559, 9.266046, 9.285299,
    9.268989, 9.267987, 9.246166, 9.231304, 9.240768, 9.260506, 9.274355, 9.292376, 9.27117,
    9.267018, 9.308838, 9.264153, 9.278822, 9.255244, 9.229221, 9.253158, 9.256292, 9.262602,
    9.219793, 9.258452, 9.267987, 9.267987, 9.248903, 9.235153, 9.242933, 9.253453, 9.262671,
    9.242536, 9.260803, 9.259825, 9.253123, 9.240803, 9.238712, 9.263676, 9.243002, 9.246826,
    9.252107, 9.261663, 9.247311, 9.306055, 9.237646, 9.248937, 9.256689, 9.265777, 9.299047,
    9.244814, 9.287205, 9.300566, 9.256621, 9.271318, 9.275154, 9.281834, 9.253158, 9.269024,
    9.282077, 9.277507, 9.28491,  9.23984,  9.268344, 9.247778, 9.225039, 9.23075,  9.270024,
    9.265095, 9.284308, 9.280697, 9.263032, 9.291851, 9.252072, 9.244031, 9.283269, 9.196848,
    9.231372, 9.232963, 9.234956, 9.216746, 9.274107, 9.273776,
};

/* NIST/SEMATECH e-Handbook 1.4.2.6, a filter's transmittance. */
static const double mavro[] = {
    2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015,
    2.0017, 2.0018, 2.0018, 2.0019, 2.0019, 2.0021, 2.002,  2.0016, 2.0014, 2.0013,
    2.0013, 2.0015, 2.0015, 2.0016, 2.0015, 2.0014, 2.0013, 2.0014, 2.0015, 2.0014,
    2.0015, 2.0016, 2.0015, 2.0016, 2.0019, 2.002,  2.002,  2.0021, 2.0022, 2.0023,
    2.0024, 2.0025, 2.0027, 2.0026, 2.0026, 2.0026, 2.0027, 2.0026, 2.0025, 2.0024,
};

/* Sums of products of up to four columns, the first is what is fitted. */
static void add_row(double normal[16], const double *row, size_t columns)
{
    for (size_t a = 0; a < columns; a++)
        for (size_t b = 0; b <= a; b++)
            normal[a * columns + b] += row[a] * row[b];
}

static double standard_of(const struct least_squares *fit, size_t factor, double deviation)
{
    double row[LEAST_SQUARES_COLUMNS] = { 0 };
    row[factor] = 1;
    return deviation * sqrt(least_squares_variance(fit, row));
}

/* NIST Pontius. Certified: b 0.673565789473684E-03, 0.732059160401003E-06, -0.316081871345029E-14. */
static void the_pontius_parabola_comes_out(void **state)
{
    static const size_t columns[] = { 1, 2, 3 };
    double normal[16] = { 0 };
    struct least_squares fit;
    (void)state;
    for (size_t i = 0; i < COUNT(pontius_x); i++) {
        double x = pontius_x[i];
        add_row(normal, (const double[]) { pontius_y[i], 1, x, x * x }, 4);
    }
    assert_true(least_squares_fit(normal, 4, columns, 3, &fit));
    assert_near(fit.factor[0], 0.673565789473684e-03, 1e-9);
    assert_near(fit.factor[1], 0.732059160401003e-06, 1e-9);
    assert_near(fit.factor[2], -0.316081871345029e-14, 1e-9);
    assert_near(fit.left, 0.155761768796992e-05, 1e-5); /* small beside the sum of squares */
    double deviation = sqrt(0.155761768796992e-05 / 37);
    assert_near(standard_of(&fit, 0, deviation), 0.107938612033077e-03, 1e-8);
    assert_near(standard_of(&fit, 2, deviation), 0.486652849992036e-16, 1e-8);
}

/*
 * NIST Misra1a. y = b1 (1 - exp(-b2 x)): settling, with the derivative to its constant as a
 * column. Certified: b1 238.94212918 (2.7070075241), b2 5.5015643181E-04 (7.2668688436E-06),
 * residual sum of squares 0.12455138894; from the certified start (250, 0.0005).
 */
static void the_misra_curve_comes_out(void **state)
{
    static const size_t columns[] = { 1, 2 };
    double b1 = 250, b2 = 0.0005;
    struct least_squares fit = { 0 };
    (void)state;
    for (int step = 0; step < 20; step++) {
        double normal[16] = { 0 };
        for (size_t i = 0; i < COUNT(misra_x); i++) {
            double x = misra_x[i], gone = exp(-b2 * x);
            add_row(normal,
                    (const double[]) { misra_y[i] - b1 * (1 - gone), 1 - gone, b1 * x * gone }, 3);
        }
        assert_true(least_squares_fit(normal, 3, columns, 2, &fit));
        b1 += fit.factor[0];
        b2 += fit.factor[1];
    }
    assert_near(b1, 238.94212918, 1e-9);
    assert_near(b2, 5.5015643181e-04, 1e-9);
    assert_near(fit.left, 0.12455138894, 1e-9);
    double deviation = sqrt(fit.left / 12);
    assert_near(standard_of(&fit, 0, deviation), 2.7070075241, 1e-7);
    assert_near(standard_of(&fit, 1, deviation), 7.2668688436e-06, 1e-7);
}

/* The course as it comes, one value an hour. */
static struct outlook look_at(const double *value, size_t count)
{
    double time[200], scratch[400];
    struct outlook outlook;
    for (size_t i = 0; i < count; i++)
        time[i] = (double)i;
    outlook_find(time, value, count, 0, NULL, scratch, &outlook);
    return outlook;
}

/* Cobb 1978, Biometrika 65, p. 243: one change in the mean, after 28 years (index 28), from 1097.75 by -247.778. */
static void the_nile_has_its_step(void **state)
{
    double time[COUNT(nile)], scratch[2 * COUNT(nile)];
    struct history_finding finding;
    (void)state;
    for (size_t i = 0; i < COUNT(nile); i++)
        time[i] = (double)i;
    assert_true(history_study(time, nile, COUNT(nile), 0, scratch, &finding));
    assert_int_equal(finding.offers[0], 28);
    assert_int_equal(finding.kind, HISTORY_STEP);
    assert_int_equal(finding.step_at, 28);
    assert_near(finding.step, 849.97222222 - 1097.75, 1e-8);
}

/*
 * The NIST/SEMATECH e-Handbook's slopes: of the heat flow meter t is -1.960, just inside of 1.972, so no drift; of
 * the filter t is 5.582, but neighbours are alike by 0.91, so that this t says
 * too much: a random walk does as well.
 */
static void no_drift_is_claimed_of_alike_neighbours(void **state)
{
    (void)state;
    assert_int_equal(look_at(zarr13, COUNT(zarr13)).finding.kind, HISTORY_STEADY);
    struct outlook outlook = look_at(mavro, COUNT(mavro));
    assert_true(outlook.compared);
    assert_false(outlook.moves);
    assert_int_equal(outlook.background, BACKGROUND_WALK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_pontius_parabola_comes_out),
        cmocka_unit_test(the_misra_curve_comes_out),
        cmocka_unit_test(the_nile_has_its_step),
        cmocka_unit_test(no_drift_is_claimed_of_alike_neighbours),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
