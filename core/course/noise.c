/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "noise.h"

#include <math.h>

/* A median of |x| for normal x of unit sigma. */
static const double normal_median = 0.67448975019608174;

/* Noise of a rounded value: one step is a rectangle of that width (JCGM 100 F.2.2.1). */
static const double rounding_noise = 0.28867513459481287;

double noise_median_magnitude(const double *x, size_t count)
{
    double low = 0, high = 0;
    for (size_t i = 0; i < count; i++)
        high = fmax(high, fabs(x[i]));
    for (int halving = 0; halving < 60 && low < high; halving++) {
        double middle = low + (high - low) / 2;
        size_t below = 0;
        for (size_t i = 0; i < count; i++)
            below += fabs(x[i]) <= middle;
        if (2 * below > count)
            high = middle;
        else
            low = middle;
    }
    return high;
}

/*
 * The median of magnitudes that come in steps of `quantum`: each stands for
 * the stretch that is rounded to it, and the median lies within the middle
 * one as far as the count says (median of grouped data).
 */
static double grouped_median(const double *x, size_t count, double quantum)
{
    double middle = noise_median_magnitude(x, count);
    double low = fmax(0, middle - quantum / 2), high = middle + quantum / 2;
    size_t below = 0, within = 0;
    for (size_t i = 0; i < count; i++) {
        below += fabs(x[i]) < low;
        within += fabs(x[i]) >= low && fabs(x[i]) <= high;
    }
    if (within == 0)
        return middle;
    double share = ((double)count / 2 - (double)below) / (double)within;
    return low + fmin(1, fmax(0, share)) * (high - low);
}

double noise_of_magnitudes(const double *x, size_t count)
{
    return noise_median_magnitude(x, count) / normal_median;
}

double noise_of_values(const double *value, size_t count, double quantum, double *differences)
{
    for (size_t i = 1; i < count; i++)
        differences[i - 1] = value[i] - value[i - 1];
    double spread = grouped_median(differences, count - 1, quantum) / normal_median / sqrt(2);
    return fmax(spread, rounding_noise * quantum);
}
