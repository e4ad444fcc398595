/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "converter.h"

#include <math.h>

int converter_code(double value, int lowest, int highest)
{
    double code = floor(value + 0.5);

    if (!(code > lowest))
        return lowest;
    return code < highest ? (int)code : highest;
}

bool converter_counts(double value, double count, double most, double *rounded)
{
    double counts = round(value / count);

    if (!(fabs(counts) <= most))
        return false;
    *rounded = counts * count;
    return true;
}
