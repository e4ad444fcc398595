/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Least squares from sums of products, for any choice of a few columns
 * (normal equations by Cholesky's decomposition; Björck, Numerical Methods
 * for Least Squares Problems, 1996, 2.2; from memory).
 */
#ifndef GRADUS_CORE_LEAST_SQUARES_H
#define GRADUS_CORE_LEAST_SQUARES_H

#include <stdbool.h>
#include <stddef.h>

enum { LEAST_SQUARES_COLUMNS = 8 };

struct least_squares {
    size_t count;       /* of columns */
    double left;        /* sum of squares that they leave over */
    double determinant; /* logarithm of that of their normal matrix */
    double factor[LEAST_SQUARES_COLUMNS];
    double lower[LEAST_SQUARES_COLUMNS][LEAST_SQUARES_COLUMNS]; /* Cholesky's, of that matrix */
};

/*
 * Fits column 0 by the `count` columns whose numbers are in `column`, 1 to
 * LEAST_SQUARES_COLUMNS of them. `normal` is `columns` squared, its lower half
 * filled. False when the columns depend on each other.
 */
bool least_squares_fit(const double *normal, size_t columns, const size_t *column, size_t count,
                       struct least_squares *fit);

/* What the fit says at a row, and that figure's variance with residuals of unit variance. */
double least_squares_at(const struct least_squares *fit, const double *row);
double least_squares_variance(const struct least_squares *fit, const double *row);

#endif
