/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A maker's accuracy specification turned into a limit of error and a
 * standard uncertainty. The terms of a specification add linearly, and the
 * temperature coefficient counts from the edge of its band (common practice,
 * no source: makers' manuals say so). A limit is taken as rectangular, JCGM
 * 100:2008 4.3.7.
 */
#ifndef GRADUS_CORE_ACCURACY_H
#define GRADUS_CORE_ACCURACY_H

#include "core/uncertainty/budget.h"

/* At which level the maker states the figures. */
enum accuracy_level {
    ACCURACY_BOUND,     /* a bound: rectangular, limit / sqrt(3) */
    ACCURACY_NORMAL_95, /* 95 % of units, normal: limit / 1.960 */
    ACCURACY_NORMAL_99  /* 99 % of units, normal: limit / 2.576 */
};

/*
 * Fractions, not per cent: 0.0002 for 0.02 %. Temperatures in degrees Celsius.
 * A temperature coefficient says what it multiplies: the reading or the range.
 */
struct accuracy {
    double reading;             /* of |reading| */
    double range;               /* of full scale */
    double counts;              /* of one resolution step each */
    double fixed;               /* absolute, in the unit of the input */
    double temperature_reading; /* of |reading| per degree outside the band */
    double temperature_range;   /* of full scale per degree outside the band */
    double temperature_low;     /* band in which no coefficient applies */
    double temperature_high;
    enum accuracy_level level;
};

/*
 * Limit of error at one reading, >= 0, in the unit of the input.
 *
 * reading     the value shown, input unit
 * full_scale  nominal full scale of the range, input unit, > 0
 * resolution  one step of the display or converter, input unit, >= 0
 * ambient     degrees Celsius where the instrument stands
 */
double accuracy_limit(const struct accuracy *accuracy, double reading, double full_scale,
                      double resolution, double ambient);

/* Standard uncertainty that belongs to a limit of error stated at `level`. */
double accuracy_standard(double limit, enum accuracy_level level);

/* The shape that goes with a level. */
enum shape accuracy_shape(enum accuracy_level level);

#endif
