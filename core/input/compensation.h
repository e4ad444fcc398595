/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a divider probe is compensated, from one edge of a square wave seen
 * through it. A divider R1 C1 into R2 C2 answers a step with
 *     v(t) = V [1 + (m - 1) exp(-t / tau)],   m = k_hf / k_dc
 * in which m = 1 when R1 C1 = R2 C2, m < 1 rounds the edge, and m > 1 overshoots
 * (own derivation: k_dc = R2 / (R1 + R2), k_hf = C1 / (C1 + C2),
 * tau = (R1 || R2) (C1 + C2)).
 */
#ifndef GRADUS_CORE_COMPENSATION_H
#define GRADUS_CORE_COMPENSATION_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

enum compensation_kind { COMPENSATION_UNDER, COMPENSATION_RIGHT, COMPENSATION_OVER };

struct compensation {
    enum compensation_kind kind;
    double ratio;          /* initial over final level, m above */
    double ratio_standard; /* its standard uncertainty */
    double tau;            /* seconds; NAN when compensated: nothing decays */
};

/* "under-compensated", "compensated", "over-compensated". */
const char *compensation_name(enum compensation_kind kind);

/* The kind of that exact name; false, writing nothing, when there is none. */
bool compensation_from_name(const char *name, enum compensation_kind *kind);

/*
 * Looks at the plateau behind one rising or falling edge of a symmetrical
 * square wave that has been there for some periods.
 *
 * volts     samples from just behind the edge to just before the next one; borrowed
 * count     at least 32
 * interval  seconds, > 0
 * before    the level just before the edge, same unit
 * lead      seconds from the edge to the first sample, >= 0
 * limit     |ratio - 1| up to which it counts as compensated, > 0
 *
 * Fits level, size and time constant by least squares. Fails
 * (FAILURE_NO_VALUE) when there is no step, too few samples, a sample is
 * not finite, or no time constant fits.
 */
bool compensation_judge(const double *volts, size_t count, double interval, double before,
                        double lead, double limit, struct compensation *compensation,
                        struct failure *failure);

/* Where a plateau is in a record. */
struct plateau {
    size_t first;  /* its first sample: the second one beyond the middle of the edge */
    size_t count;  /* to the second one before the next edge */
    double lead;   /* samples from the middle of the edge to the first, >= 0 */
    double before; /* mean of the last samples before the edge */
};

/*
 * Finds the longest plateau between two crossings of the middle of a record
 * of a square wave, that has another edge before it. False when there is none of 32 samples.
 */
bool compensation_plateau(const double *volts, size_t count, struct plateau *plateau);

/*
 * The amplitude that is shown at a frequency over the true one, minus 1, by such a probe:
 * |H| / k_dc with a zero at 1 / (2 pi m tau) and a pole at 1 / (2 pi tau). 0 when compensated.
 */
double compensation_error(const struct compensation *compensation, double frequency);

#endif
