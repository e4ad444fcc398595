/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A frequency from all slopes of a periodic record. Crossings tell it from a few samples each; where the
 * signal is neither level nor an edge every sample says when it was taken, and least squares
 * of them all know the frequency as much better as they are more.
 */
#ifndef GRADUS_CORE_SHARPEN_H
#define GRADUS_CORE_SHARPEN_H

#include "core/samples/series.h"
#include "rhythm.h"

/*
 * Moves rhythm->frequency to where the slopes have it, within least and most where edges bound it, and
 * brings these to where a triangular law between them has its standard deviation. What has no slopes to tell by stays as it is.
 * Three passes over the record; allocates nothing, 8 KiB of stack.
 *
 * noise  standard deviation of one sample, rounding included, stored units, > 0
 */
void rhythm_sharpen(const struct series *series, double noise, struct rhythm *rhythm);

#endif
