/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "conformity.h"

#include "coverage.h"

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

/* Probability that value + shift + error is within the limits; the error is symmetric. */
static double within(const struct coverage_law *law, double low, double high, double shifted)
{
    double inside =
        1.0 - coverage_beyond(law, high - shifted) - coverage_beyond(law, shifted - low);
    return fmax(0.0, fmin(1.0, inside));
}

double conformity_probability_of(double low, double high, double value, const struct budget *budget)
{
    struct coverage_law law;
    if (!isfinite(value) || !coverage_law_make(budget, &law)) {
        return NAN;
    }
    return fmin(within(&law, low, high, value - law.bias),
                within(&law, low, high, value + law.bias));
}

double conformity_guard_band_of(double risk, const struct budget *budget)
{
    struct coverage_law law;
    if (!(risk > 0.0 && risk <= 0.5) || !coverage_law_make(budget, &law)) {
        return NAN;
    }
    double low = 0.0;
    double high = law.standard;
    while (high > 0.0 && coverage_beyond(&law, high) > risk) {
        high *= 2.0;
    }
    for (int i = 0; i < 40 && high - low > 1e-9 * high; i++) {
        double middle = low + (high - low) / 2.0;
        if (coverage_beyond(&law, middle) > risk) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return law.bias + high;
}

double conformity_ratio(double low, double high, double uncertainty)
{
    double width = high - low;
    return isfinite(width) ? width / 2.0 / uncertainty : NAN;
}
