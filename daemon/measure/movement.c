/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "movement.h"

#include <math.h>

enum { LEAST_READINGS = 5 };

/* A slope of so many of its own standard deviations is none by chance; own choice. */
static const double significant = 5;

double movement_of_two(double first, double second, double resolution)
{
    double moved = fabs(second - first);
    return moved > 1.5 * resolution ? moved : 0;
}

/*
 * Least squares with x = i - (n - 1) / 2, so that the sum of x^2 is
 * n (n^2 - 1) / 12; the slope is sum(x y) / that, its variance the residual
 * variance over it (NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.3.1).
 */
double movement_of_many(const double *readings, size_t count)
{
    double n = (double)count, mean = 0, slope = 0, residual = 0;
    if (count < LEAST_READINGS)
        return 0;
    for (size_t i = 0; i < count; i++)
        mean += readings[i] / n;
    double squares = n * (n * n - 1) / 12;
    for (size_t i = 0; i < count; i++)
        slope += ((double)i - (n - 1) / 2) * (readings[i] - mean) / squares;
    for (size_t i = 0; i < count; i++) {
        double off = readings[i] - mean - slope * ((double)i - (n - 1) / 2);
        residual += off * off;
    }
    double spread = sqrt(residual / (n - 2) / squares);
    return fabs(slope) > significant * spread ? fabs(slope) * (n - 1) / 2 : 0;
}
