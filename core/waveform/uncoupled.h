/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a record that came through ac coupling was before it. A first-order high-pass of corner f turns x
 * into y with y' = x' - 2 pi f y, so that x is y and 2 pi f times its integral (own derivation): a
 * droop is taken out of it, and what is slower than the corner is as large again as it was.
 */
#ifndef GRADUS_CORE_UNCOUPLED_H
#define GRADUS_CORE_UNCOUPLED_H

#include "core/samples/series.h"

/*
 * How far apart the extremes were before the coupling, in the record's values; noise and what lies between
 * the samples are in it as in the record's own. NAN where there is no corner. One pass.
 *
 * mean    of the record, over whole periods
 * corner  -3 dB of the coupling, hertz, > 0
 */
double uncoupled_swing(const struct series *series, double mean, double corner);

#endif
