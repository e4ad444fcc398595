/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "conformity.h"

#include "coverage.h"

#include <math.h>

/* Probability that value + shift + error is within the limits; the error is symmetric. */
static double within(const struct coverage_law *law, double low, double high, double shifted)
{
    double inside =
        1.0 - coverage_beyond(law, high - shifted) - coverage_beyond(law, shifted - low);
    return fmax(0.0, fmin(1.0, inside));
}

double conformity_probability(double low, double high, double value, const struct budget *budget)
{
    struct coverage_law law;
    if (!isfinite(value) || !coverage_law_make(budget, &law))
        return NAN;
    return fmin(within(&law, low, high, value - law.bias),
                within(&law, low, high, value + law.bias));
}

double conformity_guard_band(double risk, const struct budget *budget)
{
    struct coverage_law law;
    if (!(risk > 0.0 && risk <= 0.5) || !coverage_law_make(budget, &law))
        return NAN;
    double low = 0.0;
    double high = law.standard;
    while (high > 0.0 && coverage_beyond(&law, high) > risk)
        high *= 2.0;
    for (int i = 0; i < 40 && high - low > 1e-9 * high; i++) {
        double middle = low + (high - low) / 2.0;
        if (coverage_beyond(&law, middle) > risk)
            low = middle;
        else
            high = middle;
    }
    return law.bias + high;
}

double conformity_ratio(double low, double high, double uncertainty)
{
    double width = high - low;
    return isfinite(width) ? width / 2.0 / uncertainty : NAN;
}
