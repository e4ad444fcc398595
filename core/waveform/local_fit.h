/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Polynomials through a stretch of weighted points in white noise, by least squares from the sums
 * of their powers, so that a stretch grows point by point.
 */
#ifndef GRADUS_CORE_LOCAL_FIT_H
#define GRADUS_CORE_LOCAL_FIT_H

#include <stdbool.h>

enum { LOCAL_FIT_ORDER = 4 };

/* Begin with {0}. Places should lie within about -1 to 1. */
struct local_sums {
    double points;                          /* how many were added */
    double powers[2 * LOCAL_FIT_ORDER + 1]; /* weighted sums of x^n, */
    double products[LOCAL_FIT_ORDER + 1];   /* of y x^n */
    double square;                          /* and of y^2 */
};

/* Adds a point; `weight` is the number of samples that it is the mean of. */
void local_add(struct local_sums *sums, double x, double y, double weight);

/* y = terms[0] + terms[1] x + ... */
struct local_fit {
    int order;
    double terms[LOCAL_FIT_ORDER + 1];
    double left; /* weighted sum of the squares that it leaves over */
};

/* Fits a polynomial of `order`, at most LOCAL_FIT_ORDER. False where the points do not fix one. */
bool local_solve(const struct local_sums *sums, int order, struct local_fit *fit);

/* The polynomial at a place. */
double local_value(const struct local_fit *fit, double x);

/* Variance of that, in the variance of one sample. */
double local_variance(const struct local_sums *sums, int order, double x);

#endif
