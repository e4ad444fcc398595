/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "conformity.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

double conformity_probability(double low, double high, double value, double standard)
{
    if (!isfinite(value) || !isfinite(standard) || standard < 0.0) {
        return NAN;
    }
    if (standard == 0.0) {
        return value >= low && value <= high ? 1.0 : 0.0;
    }
    double above = gsl_cdf_ugaussian_Q((high - value) / standard);
    double below = gsl_cdf_ugaussian_P((low - value) / standard);
    /* Far outside a limit the small difference of two tails is what counts. */
    if (value > high) {
        return gsl_cdf_ugaussian_P((high - value) / standard) - below;
    }
    if (value < low) {
        return gsl_cdf_ugaussian_Q((low - value) / standard) - above;
    }
    return 1.0 - above - below;
}

double conformity_guard_band(double risk, double standard, double freedom)
{
    if (!(risk > 0.0 && risk <= 0.5) || !(freedom >= 1.0)) {
        return NAN;
    }
    double quantile =
        isinf(freedom) ? gsl_cdf_ugaussian_Qinv(risk) : gsl_cdf_tdist_Qinv(risk, floor(freedom));
    return quantile * standard;
}

double conformity_ratio(double low, double high, double uncertainty)
{
    double width = high - low;
    return isfinite(width) ? width / 2.0 / uncertainty : NAN;
}
