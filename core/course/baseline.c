/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "baseline.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

void baseline_add(struct baseline *baseline, double value)
{
    double off = value - baseline->mean;
    baseline->count++;
    baseline->mean += off / baseline->count;
    baseline->squares += off * (value - baseline->mean);
}

double baseline_uncertainty(const struct baseline *baseline, bool stated)
{
    double freedom = baseline->count - 1;
    if (baseline->count < 2)
        return NAN;
    double share = stated ? 1 : 1 + 1.0 / baseline->count;
    return gsl_cdf_tdist_Pinv(0.975, freedom) * sqrt(baseline->squares / freedom * share);
}
