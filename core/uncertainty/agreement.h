/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether two readings of one point, through two instruments, agree: the En
 * number of ISO/IEC 17043 (from memory), |En| <= 1.
 */
#ifndef GRADUS_CORE_AGREEMENT_H
#define GRADUS_CORE_AGREEMENT_H

#include <stdbool.h>

/* One side of the comparison; U is expanded, of the same coverage on both sides. */
struct side_value {
    double value;
    double uncertainty;
};

/*
 * En = (a - b) / sqrt(Ua^2 + Ub^2 - 2 r Ua Ub). With errors in common, r is
 * the correlation coefficient between the two, 0 where there is none.
 * NAN when a figure is not finite, an uncertainty is negative, r is beyond
 * -1 to 1; an infinity when nothing is left of the uncertainty although
 * the values differ; 0 when they are equal.
 */
double agreement_en(const struct side_value *a, const struct side_value *b, double correlation);

/* Whether |En| <= 1; false for NAN. */
bool agreement_holds(double en);

#endif
