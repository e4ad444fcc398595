/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "uncoupled.h"

#include <math.h>
#include <stddef.h>

static const double two_pi = 6.2831853071795865;

double uncoupled_swing(const struct series *series, double mean, double corner)
{
    if (!(corner > 0))
        return NAN;
    double share = two_pi * corner * series->interval / 2;
    double before = series_value(series, series_at(series, 0)) - mean;
    double lost = 0, low = before, high = before;
    for (size_t i = 1; i < series->count; i++) {
        double here = series_value(series, series_at(series, i)) - mean;
        lost += share * (before + here);
        low = fmin(low, here + lost);
        high = fmax(high, here + lost);
        before = here;
    }
    return high - low;
}
