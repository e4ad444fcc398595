/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every pass over a record against the plain way to write it. */
#include "core/samples/series.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/near.h"

enum { SEED = 20240613, MOST = 12000, ROUNDS = 300 };

static int16_t codes[MOST];
static double reals[MOST];

/* A record of random length and span, often at the ends of the scale; the same as doubles. */
static size_t draw(void)
{
    static const int32_t spans[] = { 1, 2, 7, 300, 8191, 8192, 40000, 65536 };
    size_t count = 4 + (size_t)random() % (random() % 2 == 0 ? 300 : MOST - 4);
    int32_t span = spans[random() % 8];
    int32_t base = random() % 2 == 0 ? INT16_MIN : INT16_MAX - span + 1;
    int32_t walk = base;
    for (size_t i = 0; i < count; i++) {
        walk = random() % 40 == 0 ? base + (int32_t)(random() % span) : walk;
        codes[i] = (int16_t)(random() % 3 == 0 ? base + (int32_t)(random() % span) : walk);
        reals[i] = codes[i];
    }
    return count;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double plain_median_bend(size_t count)
{
    static double bends[MOST];
    for (size_t i = 1; i + 1 < count; i++)
        bends[i - 1] = fabs(reals[i - 1] - 2.0 * reals[i] + reals[i + 1]);
    qsort(bends, count - 2, sizeof bends[0], ascending);
    return bends[(count - 2) / 2];
}

static void check_sums(const struct series *series, size_t first, size_t count)
{
    double centre = (double)(random() % 65536 - 32768);
    double zero = (double)(random() % 200000 - 100000) / 3.0;
    struct series_sums wanted = { 0.0, 0.0, 0.0 };
    for (size_t i = first; i < first + count; i++) {
        wanted.deviation += reals[i] - centre;
        wanted.square += (reals[i] - centre) * (reals[i] - centre);
        wanted.magnitude += fabs(reals[i] - zero);
    }
    struct series_sums sums = series_sum(series, first, count, centre, zero);
    assert_near(sums.deviation, wanted.deviation, 0.0);
    assert_near(sums.square, wanted.square, series->codes ? 0.0 : 1e-14);
    assert_near(sums.magnitude, wanted.magnitude, 1e-12);
}

static void check_zone(const struct series *series)
{
    double low = reals[(size_t)random() % series->count] - (double)(random() % 3) / 2.0;
    double high = low + (double)(random() % 1000) / 2.0;
    struct zone zone = random() % 3 == 0   ? zone_below(high)
                       : random() % 2 == 0 ? zone_from(low)
                                           : zone_between(low, high);
    size_t from = (size_t)random() % series->count, i = from, inside = 0;
    double sum = 0.0;
    while (i < series->count && reals[i] >= zone.low && reals[i] <= zone.high)
        i++;
    assert_int_equal(series_leave(series, from, &zone), i);
    for (i = 0; i < series->count; i++) {
        bool in = reals[i] >= zone.low && reals[i] <= zone.high;
        inside += in;
        sum += in ? reals[i] : 0.0;
    }
    struct series_band band = series_within(series, &zone);
    assert_int_equal(band.count, inside);
    if (inside > 0)
        assert_within(band.mean, sum / (double)inside, 1e-9);
    else
        assert_true(isnan(band.mean));
}

static void check_tally(const struct series *series, double low, double high)
{
    static uint32_t tally[SERIES_BINS], wanted[SERIES_BINS];
    double width = 1.0;
    while (high - low >= width * SERIES_BINS)
        width *= 2.0;
    for (size_t bin = 0; bin < SERIES_BINS; bin++)
        wanted[bin] = 0;
    for (size_t i = 0; i < series->count; i++)
        wanted[(size_t)((reals[i] - low) / width)]++;
    series_tally(series, low, width, tally);
    assert_memory_equal(tally, wanted, sizeof tally);
}

static bool bit(const uint64_t *words, size_t i)
{
    return words[i / SERIES_BITS] >> i % SERIES_BITS & 1;
}

static void check_sort(const struct series *series, double low, double high)
{
    double level = low + (high - low) * (double)(random() % 1001) / 1000.0;
    double reach = (high - low) * (double)(random() % 1001) / 1000.0;
    struct zone around = zone_between(level - reach, level + reach);
    for (size_t first = 0; first < series->count; first += SERIES_SPAN) {
        struct series_sides sides;
        series_sort(series, first, level, &around, &sides);
        for (size_t i = 0; i < SERIES_SPAN; i++) {
            bool there = first + i < series->count;
            double x = there ? reals[first + i] : level;
            assert_int_equal(bit(sides.above, i), there && x >= level);
            assert_int_equal(bit(sides.beyond, i), x < around.low || x > around.high);
        }
    }
}

static void passes_agree_with_the_plain_way(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < ROUNDS; round++) {
        size_t count = draw();
        struct series kinds[2] = { series_of_codes(codes, count, 1.0, 0.0, 1.0),
                                   series_of_reals(reals, count, 1.0) };
        double low = reals[0], high = reals[0];
        for (size_t i = 0; i < count; i++) {
            low = fmin(low, reals[i]);
            high = fmax(high, reals[i]);
        }
        double bend = plain_median_bend(count);
        for (size_t kind = 0; kind < 2; kind++) {
            double minimum, maximum;
            assert_true(series_extremes(&kinds[kind], 0, count, &minimum, &maximum));
            assert_true(minimum == low && maximum == high);
            assert_near(series_median_bend(&kinds[kind], high - low), bend, 1e-7);
            size_t first = (size_t)random() % count;
            check_sums(&kinds[kind], first, count - first);
            check_zone(&kinds[kind]);
            check_tally(&kinds[kind], low, high);
            check_sort(&kinds[kind], low, high);
        }
    }
}

static void extremes_refuse_what_is_not_finite(void **state)
{
    (void)state;
    static const double wrong[] = { NAN, INFINITY, -INFINITY };
    for (size_t at = 0; at < 100; at++) {
        for (size_t i = 0; i < 100; i++)
            reals[i] = 1.0;
        reals[at] = wrong[at % 3];
        struct series series = series_of_reals(reals, 100, 1.0);
        double minimum = 7.0, maximum = 7.0;
        assert_false(series_extremes(&series, 0, 100, &minimum, &maximum));
        assert_true(minimum == 7.0 && maximum == 7.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(passes_agree_with_the_plain_way),
        cmocka_unit_test(extremes_refuse_what_is_not_finite),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
