/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What later readings are compared with: the mean of the first few, with what
 * their scatter makes uncertain. Only what differs from reading to reading
 * counts; what all have in common is gone in a difference.
 */
#ifndef GRADUS_CORE_BASELINE_H
#define GRADUS_CORE_BASELINE_H

#include <stdbool.h>

/* Mean and squares after Welford (Technometrics 4 (1962) 419; from memory). Begin with all zero. */
struct baseline {
    double mean; /* meaningless with count 0 */
    double squares;
    int count;
};

/* Takes in a finite value. */
void baseline_add(struct baseline *baseline, double value);

/*
 * Half-width that holds 95 % of how far a later value scatters from the mean:
 * t s sqrt(1 + 1 / count), the prediction interval for a single value; from a `stated` reference
 * instead t s. NAN with fewer than two values.
 */
double baseline_uncertainty(const struct baseline *baseline, bool stated);

#endif
