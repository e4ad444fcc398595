/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scale.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Lines this far outside still count as inside: rounding of k * step, in steps. */
static const double slack = 1e-9;

double scale_line(const struct scale *scale, long k)
{
    char digits[64];
    snprintf(digits, sizeof digits, "%lde%d", k * scale->mantissa, scale->exponent);
    return strtod(digits, NULL);
}

/* The smallest of 1, 2, 5 times a power of ten that is not below `least` (> 0). */
static void choose_step(double least, struct scale *scale)
{
    static const int mantissas[] = { 1, 2, 5 };
    scale->exponent = (int)floor(log10(least)) - 1;
    for (int tries = 0; tries < 3; tries++, scale->exponent++) {
        for (size_t i = 0; i < sizeof mantissas / sizeof mantissas[0]; i++) {
            scale->mantissa = mantissas[i];
            if (scale_line(scale, 1) >= least * (1 - slack))
                return;
        }
    }
}

bool scale_fit(double low, double high, int intervals, bool outward, struct scale *scale)
{
    const double distance = high - low;
    if (!(distance > 0) || !isfinite(distance) || intervals < 1)
        return false;
    if (distance < 1e-9 * fmax(fabs(low), fabs(high)) || distance < 1e-290)
        return false;
    struct scale found;
    choose_step(distance / intervals, &found);
    const double step = scale_line(&found, 1);
    if (outward) {
        found.first = (long)floor(low / step + slack);
        found.last = (long)ceil(high / step - slack);
    } else {
        found.first = (long)ceil(low / step - slack);
        found.last = (long)floor(high / step + slack);
    }
    *scale = found;
    return true;
}
