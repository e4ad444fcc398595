/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "accuracy.h"

#include <math.h>

/* Two-sided quantiles of the normal distribution for 95 % and 99 %: JCGM 100:2008 Table G.1. */
static const double normal_95 = 1.959963984540054;
static const double normal_99 = 2.575829303548901;

/* Degrees outside the band; NAN when the ambient temperature is not known. */
static double degrees_outside(const struct accuracy *accuracy, double ambient)
{
    if (ambient < accuracy->temperature_low)
        return accuracy->temperature_low - ambient;
    if (ambient > accuracy->temperature_high)
        return ambient - accuracy->temperature_high;
    return isnan(ambient) ? NAN : 0.0;
}

double accuracy_limit(const struct accuracy *accuracy, double reading, double full_scale,
                      double resolution, double ambient)
{
    double magnitude = fabs(reading);
    double limit = accuracy->reading * magnitude + accuracy->range * full_scale +
                   accuracy->counts * resolution + accuracy->fixed;
    double per_degree =
        accuracy->temperature_reading * magnitude + accuracy->temperature_range * full_scale;
    /* A specification without a coefficient does not ask for the temperature. */
    if (per_degree == 0.0)
        return limit;
    return limit + per_degree * degrees_outside(accuracy, ambient);
}

double accuracy_standard(double limit, enum accuracy_level level)
{
    switch (level) {
    case ACCURACY_NORMAL_95:
        return limit / normal_95;
    case ACCURACY_NORMAL_99:
        return limit / normal_99;
    case ACCURACY_BOUND:
        break;
    }
    return shape_standard(SHAPE_RECTANGULAR, limit);
}

enum shape accuracy_shape(enum accuracy_level level)
{
    return level == ACCURACY_BOUND ? SHAPE_RECTANGULAR : SHAPE_NORMAL;
}
