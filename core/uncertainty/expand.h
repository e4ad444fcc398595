/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From a budget to the interval for 95.45 %, after JCGM 100:2008 annex G, or
 * where a sum is far from normal by its exact distribution.
 */
#ifndef GRADUS_CORE_EXPAND_H
#define GRADUS_CORE_EXPAND_H

#include "budget.h"

/* How the coverage factor was found. */
enum coverage_method {
    COVERAGE_NORMAL,     /* k = 2 */
    COVERAGE_STUDENT,    /* Student's t with the effective degrees of freedom */
    COVERAGE_CONVOLUTION /* the exact distribution of the sum, core/uncertainty/coverage.h */
};

/* What a budget comes to. */
struct expanded {
    double standard;    /* combined standard uncertainty u_c, unit of the result */
    double freedom;     /* effective degrees of freedom, Welch-Satterthwaite; INFINITY if none */
    double coverage;    /* coverage factor k for 95.45 % */
    double uncertainty; /* expanded uncertainty U = k u_c */
    enum coverage_method method;
};

/* "normal", "student", "convolution". */
const char *coverage_method_name(enum coverage_method method);

/*
 * Combines and expands: by Student's t with the effective freedom, or where
 * the sum is far from normal (coverage_is_special()) by its exact
 * distribution. All figures NAN when the effective freedom is below 1 or a term is lacking.
 */
struct expanded budget_expand(const struct budget *budget);

#endif
