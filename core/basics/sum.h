/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A sum that keeps what rounding takes away: compensated summation after
 * Neumaier (1974; from memory). The error does not grow with the number of
 * terms. An overflow makes the sum NAN. Inline, since it stands in loops over 10^8 samples.
 */
#ifndef GRADUS_CORE_SUM_H
#define GRADUS_CORE_SUM_H

#include <math.h>

/* Begin with { 0.0, 0.0 }. */
struct sum {
    double total;
    double lost;
};

/* Adds one term. */
static inline void sum_add(struct sum *sum, double x)
{
    double total = sum->total + x;
    if (fabs(sum->total) >= fabs(x))
        sum->lost += (sum->total - total) + x;
    else
        sum->lost += (x - total) + sum->total;
    sum->total = total;
}

/* What the terms come to. */
static inline double sum_value(const struct sum *sum)
{
    return sum->total + sum->lost;
}

#endif
