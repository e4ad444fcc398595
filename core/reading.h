/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The result of measuring one point: a value at the tip with its budget and
 * verdict, or the reason why there is none. A value never comes without its
 * state: reading_value() hands it out only when there is one.
 */
#ifndef GRADUS_CORE_READING_H
#define GRADUS_CORE_READING_H

#include "chain.h"
#include "failure.h"
#include "limits.h"
#include "plan.h"

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
    enum verdict verdict;
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
 * limits   at the tip
 * Fails (FAILURE_NO_VALUE) when a figure is not finite. Leaves steps alone.
 */
bool reading_evaluate(struct reading *reading, const struct chain *chain, const struct setup *setup,
                      const struct signal *signal, const double *repeats, size_t n,
                      const struct limits *limits, struct failure *failure);

/* Hands out value and expanded uncertainty; false, writing nothing, when there is no value. */
bool reading_value(const struct reading *reading, double *value, double *uncertainty);

/* Appends a warning in plain words; silently full after READING_MAX_WARNINGS. */
void reading_warn(struct reading *reading, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
