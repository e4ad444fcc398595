/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The interval that holds 95.45 % of a budget's errors where Student's t
 * would be wrong: bounds that stand for even chances (rectangular), errors of
 * a known size that nobody corrected (bias). With k = 2 one rectangular
 * term alone would claim 15 % more than all there is (EA-4/02, supplement S9).
 *
 *     error = bias + R + s T
 *
 * R  all terms of infinite freedom, convolved exactly (core/uncertainty/distribution)
 * T  Student's t of the terms of finite freedom together, Welch-Satterthwaite
 * bias  all terms of that shape to one side at their bounds, the side that comes to more
 *
 * Bounded terms that are less than a tenth of the whole are taken as normal
 * (beside an arcsine law less than 3 %).
 */
#ifndef GRADUS_CORE_COVERAGE_H
#define GRADUS_CORE_COVERAGE_H

#include "budget.h"
#include "distribution.h"

#include <stdbool.h>

/* Cells that R is cut into where it meets T. */
enum { COVERAGE_CELLS = 400 };

/* The errors of a budget but for its biases, R + s T; ask it with coverage_beyond(). */
struct coverage_law {
    double bias;     /* to the side where they come to more, at their bounds, >= 0 */
    double standard; /* of R and T together */
    double student;  /* s, and its degrees of freedom; 0: T is among the normal errors of R */
    double freedom;
    bool normal;                /* R is nothing but normal: no series */
    struct distribution series; /* of R */
    double first;               /* R in cells of even width: middle of the first one, */
    double width;               /*   and how much of R there is in each */
    double shares[COVERAGE_CELLS];
};

/*
 * Whether the sum is so far from normal that its own coverage has to be
 * computed: its excess kurtosis is below -0.4, where k = 2 would be 2 % too
 * much, or the biases are more than a tenth of the combined uncertainty,
 * where k = 2 could be too little. A normal sum never is.
 */
bool coverage_is_special(const struct budget *budget);

/*
 * Half-width, in the unit of the result, that holds the exact two-sigma
 * fraction (95.4499736 %) of the sum. NAN when the combined uncertainty is
 * zero or not finite, or the terms of finite freedom together have less than
 * one degree of it.
 */
double coverage_half_width(const struct budget *budget);

/*
 * Prepares the law of a budget. A budget without bounded terms of account is taken as
 * budget_expand() takes it: normal, or Student's t with the effective degrees of freedom.
 * False, where coverage_half_width() would be NAN; a budget of nothing is a law of nothing.
 */
bool coverage_law_make(const struct budget *budget, struct coverage_law *law);

/* Probability that R + s T is more than x; by symmetry also that it is less than -x. */
double coverage_beyond(const struct coverage_law *law, double x);

#endif
