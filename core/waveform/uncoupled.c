/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "uncoupled.h"

#include <math.h>

static const double two_pi = 6.2831853071795865;

void uncoupled_restore(double *values, size_t count, double interval, double mean, double corner)
{
    double share = corner > 0 ? two_pi * corner * interval / 2 : (double)NAN;
    double lost = 0 * share, before = count > 0 ? values[0] - mean : 0;
    for (size_t i = 0; i < count; i++) {
        double here = values[i] - mean;
        lost += i > 0 ? share * (before + here) : 0;
        values[i] += lost;
        before = here;
    }
}
