/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A reading against a reference: difference or ratio, with an uncertainty
 * budget of its own. The reference is a stated value, or a second reading,
 * with which errors may be in common.
 */
#ifndef GRADUS_CORE_RELATIVE_H
#define GRADUS_CORE_RELATIVE_H

#include "budget.h"
#include "correlation.h"
#include "expand.h"

/* What limits hold for. */
enum judged { JUDGED_VALUE, JUDGED_DIFFERENCE, JUDGED_RATIO };

/* A value with its budget, borrowed. */
struct evaluated {
    double value;
    const struct budget *budget;
};

struct comparison {
    double value; /* reading - reference, or reading / reference */
    struct budget budget;
    struct expanded expanded;
};

/* A budget of one term for a reference whose expanded uncertainty (k = 2) is stated, >= 0. */
struct budget relative_stated(double expanded);

/*
 * Compares. `shared` says which sources the two have in common (see
 * budget_combine()); none for a stated reference.
 * False when a figure is not finite, the reference of a ratio is less than
 * three of its standard uncertainties from zero, or the budget overflows.
 */
bool relative_compare(enum judged judged, const struct evaluated *reading,
                      const struct evaluated *reference, const struct shared *shared, size_t count,
                      struct comparison *comparison);

/*
 * What two readings through one input of one instrument, one after the
 * other, have in common, at most RELATIVE_SHARED sources: the probe and its
 * offset wholly; the instrument's accuracy by a stated coefficient, unless
 * the values differ in sign, when it is taken as adverse: the maker's bound
 * does not say which part of it changes sign.
 *
 * accuracy  coefficient of the instrument's errors, 0 to 1
 * Returns how many were written.
 */
enum { RELATIVE_SHARED = 8 };
size_t relative_shared(double accuracy, double reading, double reference,
                       struct shared shared[RELATIVE_SHARED]);

/* "value", "difference", "ratio". */
const char *judged_name(enum judged judged);

/* What has that exact name; false, writing nothing, when nothing has. */
bool judged_from_name(const char *name, enum judged *judged);

#endif
