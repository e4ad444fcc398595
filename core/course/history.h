/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a point did over a run: steady, drifting, stepped, with excursions
 * now and then, told apart from noise.
 *
 * Noise is estimated from differences of neighbours, which neither drift nor
 * step enlarges. Excursions are set aside first (excursions.h). Of what is left, the centred
 * cumulative sum (Page's CUSUM, 1954) tells whether there is anything but
 * noise; the models constant, line, step, and line with a step are then
 * compared by the Bayesian information criterion (Schwarz, 1978). A step or a
 * slope is claimed only where it stands out by history_sigmas of its own
 * uncertainty, which is enlarged for noise whose neighbours are alike.
 */
#ifndef GRADUS_CORE_HISTORY_H
#define GRADUS_CORE_HISTORY_H

#include "excursions.h"

#include <stdbool.h>
#include <stddef.h>

enum history_kind {
    HISTORY_STEADY,
    HISTORY_DRIFT,          /* a line */
    HISTORY_STEP,           /* two levels */
    HISTORY_DRIFT_AND_STEP, /* a line that jumps once */
    HISTORY_SETTLING, /* towards a level, exponentially: only core/course/outlook.h finds it */
    HISTORY_SETTLING_AND_STEP
};

enum { HISTORY_FEWEST = 20 };

/* So many standard uncertainties a step, a slope or an excursion must stand out. */
extern const double history_sigmas;

struct history_finding {
    enum history_kind kind;
    double noise; /* standard deviation of one value */
    size_t kept;  /* values that belong to no excursion */
    struct excursions excursions;
    size_t step_at; /* index of the first value behind the step; 0: none */
    double step;    /* its height; 0: none */
    double step_standard;
    double slope; /* per unit of time; 0: none */
    double slope_standard;
    size_t offers[2]; /* index, of the kept values, of the first one behind a step that would fit
                         best into a constant, into a line; 0: none would */
};

/*
 * Studies a run.
 *
 * time     ascending, finite
 * value    finite
 * count    at least HISTORY_FEWEST
 * quantum  one step of the instrument's display or converter, unit of the values, >= 0:
 *          values that stand still are known no better than that
 * scratch  room for 2 * count doubles; afterwards the times that were kept are in the first half
 *          of it and their values in the second
 * Returns false, writing nothing, when there are too few values, one is not
 * finite, or times do not ascend. Cost is linear in count.
 */
bool history_study(const double *time, const double *value, size_t count, double quantum,
                   double *scratch, struct history_finding *finding);

/* "steady", "drift", "step", "drift and step", "settling", "settling and step". */
const char *history_kind_name(enum history_kind kind);

#endif
