/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The highest place of a folded record (core/waveform/fold): what repeats there, with noise averaged
 * over as many samples as have one simple shape. Between steep edges a crest is level, or a parabola,
 * or a corner of two straight lines, or an end of a slope where an edge cuts it off.
 *
 * The widest stretch that passes as such a shape is looked for, and seven tenths of it used, so that a
 * bend which noise just hides in the one is little in the other.
 */
#ifndef GRADUS_CORE_CREST_H
#define GRADUS_CORE_CREST_H

#include "fold.h"
#include "local_fit.h"

#include <stdbool.h>

/* In the record's values. */
struct crest {
    double value;
    double scatter;     /* standard uncertainty by noise, rounding included */
    double doubt;       /* bound on what its shape, where that cannot be told, does to it */
    double samples;     /* so many of one sample's noise are averaged in it */
    double first, last; /* a stretch of it that has its shape; places in periods, -1 to 2 */
    double corner;      /* where in it the second of two lines begins; INFINITY: one shape only */
    double origin, base, sign;
    struct local_fit fit, fall; /* its shape, see crest_shape(); the second line */
};

/* What the shape has at a place of its stretch, in the record's values. */
double crest_shape(const struct crest *crest, double place);

/* The highest, for sign -1 lowest, that it has between two places of its stretch. */
double crest_top(const struct crest *crest, double from, double to);

/*
 * Finds the highest place, for sign -1 the lowest. False where no stretch around it has one of the
 * shapes. Allocates nothing; 25 KiB of stack.
 *
 * noise  standard deviation of one sample, rounding included, > 0
 */
bool fold_crest(const struct fold *fold, double sign, double noise, struct crest *crest);

#endif
