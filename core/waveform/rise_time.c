/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rise_time.h"

#include <math.h>

static const double of_one_pole = 0.3496991525660598;
static const double most_share = 0.7;
static const double own_tolerance = 0.2;

double rise_time_of_bandwidth(double bandwidth)
{
    return of_one_pole / bandwidth;
}

bool rise_time_correct(double seen, double own, struct rise_time *corrected)
{
    if (!(seen > own) || !(own >= 0) || !isfinite(seen))
        return false;
    double value = sqrt((seen - own) * (seen + own)), share = own / value;
    if (!(share <= most_share))
        return false;
    double relative = 0.12 * share + 0.1 * share * share * share + own_tolerance * share * share;
    *corrected = (struct rise_time) { value, value * relative };
    return true;
}
