/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Analogue to digital: rounding to steps, and what lies beyond the ends. */
#ifndef STANDIN_CONVERTER_H
#define STANDIN_CONVERTER_H

#include <stdbool.h>

/*
 * The code of a converter for a value in code units: rounded to the nearest
 * whole code (ties upwards) and held at the ends.
 */
int converter_code(double value, int lowest, int highest);

/*
 * Rounds a value to whole counts of size `count`. Returns false when the
 * rounded value has more than `most` counts of either sign: overload.
 */
bool converter_counts(double value, double count, double most, double *rounded);

#endif
