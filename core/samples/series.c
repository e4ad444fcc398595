/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "series.h"

#include "series_priv.h"

#include <math.h>
#include <string.h>

bool series_extremes(const struct series *series, size_t first, size_t count, double *minimum,
                     double *maximum)
{
    return series->codes ? codes_extremes(series->codes + first, count, minimum, maximum)
                         : reals_extremes(series->reals + first, count, minimum, maximum);
}

struct zone zone_between(double low, double high)
{
    struct zone zone = { low, high, (int)ceil(fmin(fmax(low, INT16_MIN), INT16_MAX + 1.0)),
                         (int)floor(fmax(fmin(high, INT16_MAX), INT16_MIN - 1.0)) };
    return zone;
}

struct zone zone_below(double level)
{
    return zone_between(-INFINITY, nextafter(level, -INFINITY));
}

struct zone zone_from(double level)
{
    return zone_between(level, INFINITY);
}

size_t series_leave(const struct series *series, size_t from, const struct zone *zone)
{
    size_t count = series->count - from;
    return from + (series->codes ? codes_leave(series->codes + from, count, zone)
                                 : reals_leave(series->reals + from, count, zone));
}

void series_sort(const struct series *series, size_t first, double level, const struct zone *around,
                 struct series_sides *sides)
{
    size_t rest = series->count - first;
    size_t count = rest < SERIES_SPAN ? rest : SERIES_SPAN;
    memset(sides, 0, sizeof *sides);
    if (series->codes)
        codes_sort(series->codes + first, count, level, around, sides);
    else
        reals_sort(series->reals + first, count, level, around, sides);
}

struct series_sums series_sum(const struct series *series, size_t first, size_t count,
                              double centre, double zero)
{
    return series->codes ? codes_sum(series->codes + first, count, centre, zero)
                         : reals_sum(series->reals + first, count, centre, zero);
}

void series_tally(const struct series *series, double low, double width,
                  uint32_t tally[SERIES_BINS])
{
    if (series->codes)
        codes_tally(series->codes, series->count, low, width, tally);
    else
        reals_tally(series->reals, series->count, low, width, tally);
}

struct series_band series_within(const struct series *series, const struct zone *zone)
{
    return series->codes ? codes_within(series->codes, series->count, zone)
                         : reals_within(series->reals, series->count, zone);
}

double series_median_bend(const struct series *series, double height)
{
    return series->codes ? codes_median_bend(series->codes, series->count, height)
                         : reals_median_bend(series->reals, series->count);
}
