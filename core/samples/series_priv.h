/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The passes of series.h for each kind of sample; `x` is the first sample to look at. */
#ifndef GRADUS_CORE_SERIES_PRIV_H
#define GRADUS_CORE_SERIES_PRIV_H

#include "series.h"

/* For doubles: as the functions of series.h that have the same end of their name. */
bool reals_extremes(const double *x, size_t count, double *minimum, double *maximum);
size_t reals_leave(const double *x, size_t count, const struct zone *zone);
void reals_sort(const double *x, size_t count, double level, const struct zone *around,
                struct series_sides *sides);
struct series_sums reals_sum(const double *x, size_t count, double centre, double zero);
void reals_tally(const double *x, size_t count, double low, double width,
                 uint32_t tally[SERIES_BINS]);
struct series_band reals_within(const double *x, size_t count, const struct zone *zone);
double reals_median_bend(const double *x, size_t count);

/* The same for codes. */
bool codes_extremes(const int16_t *x, size_t count, double *minimum, double *maximum);
size_t codes_leave(const int16_t *x, size_t count, const struct zone *zone);
void codes_sort(const int16_t *x, size_t count, double level, const struct zone *around,
                struct series_sides *sides);
struct series_sums codes_sum(const int16_t *x, size_t count, double centre, double zero);
void codes_tally(const int16_t *x, size_t count, double low, double width,
                 uint32_t tally[SERIES_BINS]);
struct series_band codes_within(const int16_t *x, size_t count, const struct zone *zone);
double codes_median_bend(const int16_t *x, size_t count, double height);

#endif
