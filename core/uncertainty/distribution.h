/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The distribution of a sum of independent, symmetric errors, exactly: the
 * characteristic functions are multiplied, which is the convolution that
 * JCGM 101 puts in place of the assumption that a sum is normal. The density
 * is taken as one period of a Fourier series, so that the cumulative
 * distribution is a short sum of sines.
 *
 * A narrow normal error of 0.005 of the whole is added, so that the series
 * ends; it moves a probability by less than 3e-5, but by 0.006 next to the
 * edge of an arcsine law.
 */
#ifndef GRADUS_CORE_DISTRIBUTION_H
#define GRADUS_CORE_DISTRIBUTION_H

#include <stddef.h>

/* The normal error that is added, of the whole. */
#define DISTRIBUTION_NORMAL 0.005

enum { DISTRIBUTION_MAX_PARTS = 32, DISTRIBUTION_MAX_WAVES = 1024 };

/* Laws with a characteristic function of their own; a trapezoid is two rectangular parts. */
enum law { LAW_RECTANGULAR, LAW_TRIANGULAR, LAW_ARCSINE };

struct part {
    enum law law;
    double half_width; /* > 0 */
};

/* The errors that are added up. All fields in one unit. */
struct parts {
    double variance; /* of all normal errors together, >= 0 */
    size_t count;
    struct part bounded[DISTRIBUTION_MAX_PARTS];
};

/* The series; read it with distribution_below(). */
struct distribution {
    double reach; /* half a period; nothing of account lies beyond it */
    size_t count;
    double waves[DISTRIBUTION_MAX_WAVES];
};

/*
 * Builds the distribution of the sum of all parts.
 *
 * standard  root of the sum of all variances, > 0
 */
void distribution_build(struct distribution *distribution, const struct parts *parts,
                        double standard);

/* Probability that the sum is below x; 0 and 1 beyond the reach. */
double distribution_below(const struct distribution *distribution, double x);

#endif
