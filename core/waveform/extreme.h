/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The largest of n samples of white normal noise, in its standard deviations: its distribution is
 * the n-th power of the normal one.
 */
#ifndef GRADUS_CORE_EXTREME_H
#define GRADUS_CORE_EXTREME_H

/* What the largest of n >= 1 lies below with probability p, 0 < p < 1. */
double extreme_quantile(double n, double p);

/*
 * What the largest of n >= 1 is on average: its 57 % quantile (exp(-exp(-gamma)), exact for many
 * samples; for few it is too high, by 0.03 for 100 and 0.13 for 2).
 */
double extreme_mean(double n);

#endif
