/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The noise that a course lies on. Readings of the same thing scatter
 * independently; under that there may be what wanders: an autoregressive
 * process, 1/f noise, a random walk. Each background is white noise plus one
 * of these, as a sum of first-order processes (1/f noise: four of equal
 * variance whose time constants are spread evenly on a logarithmic scale,
 * a known way to make it; from memory), so that a Kalman filter makes
 * independent residuals of it in one pass, with their likelihood
 * (Harvey, Forecasting, Structural Time Series Models and the Kalman Filter,
 * 1989, 3.4; from memory). Least squares of what has passed the filter is
 * generalised least squares.
 */
#ifndef GRADUS_CORE_BACKGROUND_H
#define GRADUS_CORE_BACKGROUND_H

#include "places.h"

enum background_kind {
    BACKGROUND_WHITE,
    BACKGROUND_AUTOREGRESSIVE,
    BACKGROUND_FLICKER, /* 1/f */
    BACKGROUND_WALK     /* random walk */
};

enum { BACKGROUNDS = 36, BACKGROUND_KINDS = BACKGROUND_WALK + 1 };

struct background {
    enum background_kind kind;
    double share;    /* what wanders, over the variance of white noise in a place: of a random walk
                        its step from place to place, else its variance */
    double constant; /* time constant of an autoregressive process, of a place's clock */
    double prior;    /* how probable it is before anything is known; all add up to 1 */
};

/* The backgrounds that are compared; within a kind all shares alike. */
void background_list(struct background list[BACKGROUNDS]);

/*
 * Sends columns through the filter of a background and sums their products:
 * normal[a * columns + b] becomes the sum over places of a's residual times
 * b's, for b <= a. `column` holds places->count rows of `columns` numbers.
 * Returns the logarithm of the determinant of the covariance, in units of
 * the white noise of a full place. columns <= BACKGROUND_COLUMNS.
 */
enum { BACKGROUND_COLUMNS = 28 };
double background_filter(const struct background *background, const struct places *places,
                         const double *column, size_t columns, double *normal);

/* "white noise", "autoregressive", "1/f noise", "random walk". */
const char *background_name(enum background_kind kind);

#endif
