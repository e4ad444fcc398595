/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The uncertainty budget of one reading, after JCGM 100:2008 (the GUM):
 * contributions with standard uncertainty, sensitivity and degrees of
 * freedom, combined in quadrature. core/uncertainty/expand makes an interval of it.
 *
 * Contributions are taken as independent; core/uncertainty/correlation is for those that
 * are not. A trapezoidal one is entered as the two rectangular ones that it
 * is the sum of.
 */
#ifndef GRADUS_CORE_BUDGET_H
#define GRADUS_CORE_BUDGET_H

#include <stdbool.h>
#include <stddef.h>

enum shape {
    SHAPE_NORMAL,
    SHAPE_RECTANGULAR,
    SHAPE_TRIANGULAR,
    SHAPE_ARCSINE,
    SHAPE_BIAS /* an error of about known size and direction that is not corrected */
};

/* Room for the terms of a reading beside those of its reference. */
enum { BUDGET_MAX_TERMS = 48 };

struct contribution {
    char source[48];    /* what it comes from, in plain words */
    double standard;    /* standard uncertainty, in the unit of its own source, >= 0 */
    double sensitivity; /* change of the result per unit of the source */
    double freedom;     /* degrees of freedom, > 0; INFINITY for a known bound */
    enum shape shape;
};

struct budget {
    size_t count;
    bool lacking; /* a term could not be added: there is no uncertainty */
    struct contribution terms[BUDGET_MAX_TERMS];
};

/* "normal", "rectangular", "triangular", "arcsine", "bias". */
const char *shape_name(enum shape shape);

/*
 * Half-width of a distribution to standard uncertainty (JCGM 100 4.3.7,
 * 4.3.9; JCGM 101 6.4.6): rectangular a/sqrt(3), triangular a/sqrt(6),
 * arcsine a/sqrt(2); a bias as rectangular; for SHAPE_NORMAL the half-width is taken as
 * one sigma.
 */
double shape_standard(enum shape shape, double half_width);

/*
 * Appends a contribution. One that is exactly zero is left out, which is a
 * success; a source that is too long is cut. Returns false, and from then on
 * the budget comes to NAN, when the budget is full, when `standard` is
 * negative or not finite, when `sensitivity` is not finite, or when `freedom`
 * is not > 0: an uncertainty that lacks a term would be too small.
 */
bool budget_add(struct budget *budget, const char *source, enum shape shape, double standard,
                double sensitivity, double freedom);

/*
 * Combined standard uncertainty: root of the sum of (sensitivity * standard)^2, JCGM 100 (10).
 * NAN when a term is lacking.
 */
double budget_combined(const struct budget *budget);

/*
 * Effective degrees of freedom, JCGM 100 (G.2b), with full digits and not
 * truncated. INFINITY when no term has finite freedom, or all are zero; NAN when one is lacking.
 */
double budget_freedom(const struct budget *budget);

/*
 * Coverage factor for the exact two-sigma fraction (95.4499736 %) from
 * Student's t with `freedom` truncated to an integer, JCGM 100 G.6.4.
 * 2 for infinite freedom; NAN when freedom < 1.
 */
double coverage_factor(double freedom);

/*
 * Type A evaluation of n repeated readings (JCGM 100 4.2): arithmetic mean
 * and standard deviation of the mean, by two passes. Returns false, writing
 * nothing, when n < 2 or a result is not finite.
 */
bool type_a(const double *readings, size_t n, double *mean, double *standard_of_mean);

#endif
