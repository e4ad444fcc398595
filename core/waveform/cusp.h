/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A crest that noise lets pass as a parabola may be a cusp: one that steepens up to its tip, like the root
 * of the distance from it. Least squares of both over the same stretch tell which of them it can be.
 */
#ifndef GRADUS_CORE_CUSP_H
#define GRADUS_CORE_CUSP_H

#include "crest.h"
#include "fold.h"

/*
 * How far above the crest's value the tip of a cusp is that fits the crest's stretch as well as its shape
 * does, to two standard deviations; the highest of all such. 0 where there is none. In the record's
 * values, >= 0. Allocates nothing, 24 KiB of stack.
 *
 * noise  standard deviation of one sample, rounding included, > 0
 */
double cusp_above(const struct fold *fold, const struct crest *crest, double noise);

#endif
