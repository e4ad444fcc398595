/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "relative.h"

#include <math.h>
#include <string.h>

/* Nearer to zero than this, in standard uncertainties, a divisor makes the first order useless. */
static const double least_divisor = 3.0;

struct budget relative_stated(double expanded)
{
    struct budget budget = { .count = 0 };
    budget_add(&budget, "reference", SHAPE_NORMAL, expanded / 2.0, 1.0, INFINITY);
    return budget;
}

/* Value and derivatives of reading - reference or reading / reference; false without a divisor. */
static bool derive(enum judged judged, const struct evaluated *reading,
                   const struct evaluated *reference, double *value, double *x, double *y)
{
    if (judged == JUDGED_DIFFERENCE) {
        *value = reading->value - reference->value;
        *x = 1.0;
        *y = -1.0;
        return true;
    }
    if (!(fabs(reference->value) > least_divisor * budget_combined(reference->budget)))
        return false;
    *value = reading->value / reference->value;
    *x = 1.0 / reference->value;
    *y = -*value / reference->value;
    return true;
}

bool relative_compare(enum judged judged, const struct evaluated *reading,
                      const struct evaluated *reference, const struct shared *shared, size_t count,
                      struct comparison *comparison)
{
    double x;
    double y;
    if (judged == JUDGED_VALUE || !derive(judged, reading, reference, &comparison->value, &x, &y) ||
        !budget_combine(reading->budget, x, reference->budget, y, shared, count,
                        &comparison->budget))
        return false;
    comparison->expanded = budget_expand(&comparison->budget);
    return isfinite(comparison->value) && isfinite(comparison->expanded.uncertainty);
}

size_t relative_shared(double accuracy, double reading, double reference,
                       struct shared shared[RELATIVE_SHARED])
{
    bool opposed = (reading < 0.0) != (reference < 0.0);
    size_t count = 0;
    shared[count++] = (struct shared) { "probe factor", 1.0, false };
    shared[count++] = (struct shared) { "probe offset", 1.0, false };
    shared[count++] = (struct shared) { "input behind the probe", 1.0, false };
    if (opposed)
        shared[count++] = (struct shared) { "instrument accuracy", 1.0, true };
    else
        shared[count++] = (struct shared) { "instrument accuracy", accuracy, false };
    return count;
}

static const char *const judged_names[] = {
    [JUDGED_VALUE] = "value",
    [JUDGED_DIFFERENCE] = "difference",
    [JUDGED_RATIO] = "ratio",
};

const char *judged_name(enum judged judged)
{
    return judged_names[judged];
}

bool judged_from_name(const char *name, enum judged *judged)
{
    for (size_t i = 0; i < sizeof judged_names / sizeof judged_names[0]; i++) {
        if (strcmp(judged_names[i], name) == 0) {
            *judged = (enum judged)i;
            return true;
        }
    }
    return false;
}
