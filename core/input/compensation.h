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

/* Not decidable: the record can show neither that it is compensated nor that it is not. */
enum compensation_kind {
    COMPENSATION_UNDER,
    COMPENSATION_RIGHT,
    COMPENSATION_OVER,
    COMPENSATION_UNDECIDED
};

struct compensation {
    enum compensation_kind kind;
    double ratio;          /* initial over final level, m above */
    double ratio_standard; /* its standard uncertainty */
    double tau;            /* seconds; NAN when compensated: nothing decays */
    const char *lack;      /* why it is not decidable, for people; NULL when it is */
};

/* "under-compensated", "compensated", "over-compensated", "not decidable". */
const char *compensation_name(enum compensation_kind kind);

/* The kind of that exact name; false, writing nothing, when there is none. */
bool compensation_from_name(const char *name, enum compensation_kind *kind);

/* Between which time constants a decay is sought, and what can hide one. */
struct sought {
    double fastest; /* seconds, > 0 */
    double slowest; /* seconds, > fastest */
    double step;    /* of the converter, in the unit of the samples, >= 0 */
};

/*
 * The time constants (R1 || R2)(C1 + C2) that a divider can have which shows `tip` ohm at its
 * tip and is made for an input of `load` ohm (NAN: 1 megohm, with nearly all of it above). Input,
 * cable and trimmer are taken as 50 to 300 pF (common practice, no source).
 */
struct sought compensation_sought(double tip, double load, double step);

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
 * sought    what may hide
 *
 * Fits level, size and time constant by least squares. Compensated means that no
 * decay of more than `limit` was seen where one of any time constant that is sought
 * would have been, twice its uncertainty away; a
 * decay counts when its ratio is off by more than twice its uncertainty, when
 * three of its time constants fit into the plateau, and when it explains the
 * plateau, of which no more than a fiftieth of the step is left over. What is
 * neither is not decidable. Fails
 * (FAILURE_NO_VALUE) when there is no step, too few samples, a sample is
 * not finite, or no time constant fits.
 */
bool compensation_judge(const double *volts, size_t count, double interval, double before,
                        double lead, double limit, const struct sought *sought,
                        struct compensation *compensation, struct failure *failure);

/* Where a plateau is in a record. */
struct plateau {
    size_t first;    /* its first sample: the second one beyond the middle of the edge */
    size_t count;    /* to the second one before the next edge */
    double lead;     /* samples from the middle of the edge to the first, >= 0 */
    double before;   /* mean of the last samples before the edge */
    double evenness; /* its length over that of the one before */
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
