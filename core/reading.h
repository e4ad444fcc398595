/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The result of measuring one point: a value at the tip with its budget and
 * verdict, or the reason why there is none. A value never comes without its
 * state: reading_value() hands it out only when there is one.
 */
#ifndef GRADUS_CORE_READING_H
#define GRADUS_CORE_READING_H

#include "core/basics/failure.h"
#include "core/input/chain.h"
#include "core/range/plan.h"
#include "core/uncertainty/expand.h"
#include "core/uncertainty/limits.h"

enum { READING_MAX_WARNINGS = 8 };

struct reading {
    struct failure failure; /* code FAILURE_NONE when there is a value */
    double value;           /* tip units; NAN without a value. Use reading_value() */
    struct expanded expanded;
    struct budget budget;
    struct setup setup; /* the one that settled */
    double raw;         /* what the instrument said, ground reference subtracted, input units */
    size_t repeats;     /* readings averaged */
    struct loading loading;
    bool loading_corrected;
    bool compared;                /* the limits hold for `comparison`, not for the value */
    struct comparison comparison; /* to the reference; only when compared */
    double reference;             /* its value; only when compared */
    struct judgement judgement;
    size_t step_count;
    struct plan_step steps[PLAN_MAX_STEPS];
    size_t warning_count;
    char warnings[READING_MAX_WARNINGS][160];
};

/* A reading with no value, for the given reason. */
void reading_fail(struct reading *reading, const struct failure *failure);

/*
 * Turns what was seen into the reading.
 *
 * chain    as it was planned with
 * setup    the setup that settled
 * signal   what was seen there, ground reference subtracted
 * repeats, n   the aspect's value of each repeated acquisition, input units
 *              (the first is signal->value); n >= 1
 * limits   at the tip; judged here unless they hold for a comparison
 * Fails (FAILURE_NO_VALUE) when a figure is not finite. Leaves steps alone.
 */
bool reading_evaluate(struct reading *reading, const struct chain *chain, const struct setup *setup,
                      const struct signal *signal, const double *repeats, size_t n,
                      const struct limits *limits, struct failure *failure);

/*
 * As reading_evaluate(), of a value that has been made elsewhere.
 *
 * raw     what the instrument said, input units
 * value   at the tip, with `budget`
 */
bool reading_conclude(struct reading *reading, const struct chain *chain, const struct setup *setup,
                      double raw, double value, const struct budget *budget, size_t n,
                      const struct limits *limits, struct failure *failure);

/*
 * Compares a reading that has a value with the reference of its limits and
 * judges what comes of it. With NULL the reference is the value the limits
 * state; else it is that reading, which must have a value.
 *
 * one_input  both were taken through the same input and probe of one
 *            instrument, so that errors are in common (relative_shared())
 * Fails (FAILURE_NO_VALUE) when there is no comparison, as with a ratio over
 * what may be zero.
 */
bool reading_compare(struct reading *reading, const struct limits *limits,
                     const struct reading *reference, bool one_input, struct failure *failure);

/* Hands out value and expanded uncertainty; false, writing nothing, when there is no value. */
bool reading_value(const struct reading *reading, double *value, double *uncertainty);

/* Appends a warning in plain words; silently full after READING_MAX_WARNINGS. */
void reading_warn(struct reading *reading, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
