/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "expand.h"

#include "coverage.h"

#include <math.h>

const char *coverage_method_name(enum coverage_method method)
{
    switch (method) {
    case COVERAGE_STUDENT:
        return "student";
    case COVERAGE_CONVOLUTION:
        return "convolution";
    case COVERAGE_NORMAL:
        break;
    }
    return "normal";
}

/* By Student's t, JCGM 100 G.6.4. */
static struct expanded expand_student(double standard, double freedom)
{
    double coverage = coverage_factor(freedom);
    return (struct expanded) {
        .standard = isnan(coverage) ? NAN : standard,
        .freedom = isnan(coverage) ? NAN : freedom,
        .coverage = coverage,
        .uncertainty = coverage * standard,
        .method = isinf(freedom) ? COVERAGE_NORMAL : COVERAGE_STUDENT,
    };
}

struct expanded budget_expand(const struct budget *budget)
{
    double standard = budget_combined(budget);
    struct expanded expanded = expand_student(standard, budget_freedom(budget));
    if (standard == 0.0 || isnan(expanded.coverage) || !coverage_is_special(budget))
        return expanded;
    double half_width = coverage_half_width(budget);
    if (isfinite(half_width)) {
        expanded.uncertainty = half_width;
        expanded.coverage = half_width / standard;
        expanded.method = COVERAGE_CONVOLUTION;
    }
    return expanded;
}
