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
 * Probability that the true value is within the limits, JCGM 106:2012
 * 7.3 and 7.4. An infinite limit is none.
 *
 * value, low, high, standard  in one unit, standard >= 0; with 0 it is 0 or 1
 * NAN when value or standard is not finite.
 */
double conformity_probability(double low, double high, double value, double standard);

/*
 * Guard band that keeps the specific risk at one limit to `risk`, JCGM 106
 * 8.3.2: w = z u with z the one-sided quantile (7.3, Table 1), of Student's t
 * where the degrees of freedom are finite (truncated to a whole number).
 *
 * risk  0 < risk <= 0.5; NAN outside that, and with freedom below 1
 */
double conformity_guard_band(double risk, double standard, double freedom);

/*
 * The same two for the errors of a budget: NAN also where it has no law
 * (coverage_law_make()). The guard band is the biases and the one-sided quantile of all else.
 */
double conformity_probability_of(double low, double high, double value,
                                 const struct budget *budget);
double conformity_guard_band_of(double risk, const struct budget *budget);

/*
 * Test uncertainty ratio: half the width of the tolerance to the expanded
 * uncertainty, as ANSI/NCSL Z540.3 5.3 bounds it. NAN with one limit only;
 * INFINITY without an uncertainty.
 */
double conformity_ratio(double low, double high, double uncertainty);

#endif
