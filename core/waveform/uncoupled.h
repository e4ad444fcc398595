/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a record that came through ac coupling was before it. A first-order high-pass of corner f turns x
 * into y with y' = x' - 2 pi f y, so that x is y and 2 pi f times its integral (own derivation): a
 * droop is taken out of it, and what is slower than the corner is as large again as it was.
 */
#ifndef GRADUS_CORE_UNCOUPLED_H
#define GRADUS_CORE_UNCOUPLED_H

#include <stddef.h>

/*
 * Puts back in place what the coupling took: values become those before it, but for their mean. What
 * lies between the samples is in them as in the record. NAN all where there is no corner. One pass.
 *
 * interval  seconds from value to value
 * mean      of the record, over whole periods
 * corner    -3 dB of the coupling, hertz, > 0
 */
void uncoupled_restore(double *values, size_t count, double interval, double mean, double corner);

#endif
