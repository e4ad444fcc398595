/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The frequency of a periodic record from all of its crossings of the level midway between the
 * extremes, as precisely as folding the record over its period needs it.
 *
 * A steep edge lies somewhere between two samples, each time somewhere else: all the pairs
 * together leave only frequencies at which one instant in the period fits between every pair
 * (own derivation). Crossings that are no steep edges are joined by a straight line, least squares.
 */
#ifndef GRADUS_CORE_RHYTHM_H
#define GRADUS_CORE_RHYTHM_H

#include "core/samples/series.h"

/* Periods per sample. */
struct rhythm {
    double frequency;
    double least; /* and between which two it must be, where edges tell; else the same */
    double most;
};

/*
 * Finds it. False where crossings are not regular, or steep edges not so to a fifth of a sample. One pass; allocates nothing, 16 KiB of stack.
 *
 * minimum, maximum  the record's extremes, stored units
 * noise             standard deviation of one sample's noise, stored units, >= 0
 * rough             periods per sample, within two samples over the record
 */
bool rhythm_find(const struct series *series, double minimum, double maximum, double noise,
                 double rough, struct rhythm *rhythm);

#endif
