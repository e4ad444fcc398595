/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How probable it is that the true value conforms, and how wide a guard band
 * a wanted risk takes, after JCGM 106:2012. Of a budget the whole law of its
 * errors counts (core/uncertainty/coverage); of a standard uncertainty alone they
 * are taken as normal (7.2).
 *
 * A term that is a bias may be anything up to its bound. It counts at its bound, and
 * against conforming: where it is less, the risk is smaller than stated.
 */
#ifndef GRADUS_CORE_CONFORMITY_H
#define GRADUS_CORE_CONFORMITY_H

#include "budget.h"

/*
 * Probability that the true value is within the limits, JCGM 106:2012 7.3 and 7.4, for the
 * errors of a budget. An infinite limit is none; value, low and high in the unit of the budget.
 * NAN when the value is not finite or the budget has no law (coverage_law_make()).
 */
double conformity_probability(double low, double high, double value, const struct budget *budget);

/*
 * Guard band that keeps the specific risk at one limit to `risk`, JCGM 106 8.3.2: the biases
 * and the one-sided quantile of all else (7.3, Table 1).
 *
 * risk  0 < risk <= 0.5; NAN outside that, and without a law
 */
double conformity_guard_band(double risk, const struct budget *budget);

/*
 * Test uncertainty ratio: half the width of the tolerance to the expanded
 * uncertainty, as ANSI/NCSL Z540.3 5.3 bounds it. NAN with one limit only;
 * INFINITY without an uncertainty.
 */
double conformity_ratio(double low, double high, double uncertainty);

#endif
