/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The two-load method: the same point measured through two loads that are
 * known says what it shows unloaded, and what its source resistance is.
 * From V = E R / (Rs + R) for both, with the conductances g = 1/R:
 *
 *     E  = V1 V2 (g1 - g2) / D      Rs = (V2 - V1) / D      D = g1 V1 - g2 V2
 *
 * DC, or loads that are resistive at the signal's frequency. Own derivation,
 * from V1 = E / (1 + Rs g1) and V2 = E / (1 + Rs g2).
 */
#ifndef GRADUS_CORE_TWO_LOAD_H
#define GRADUS_CORE_TWO_LOAD_H

#include "core/basics/failure.h"
#include "loading.h"

/* One reading as it was shown, no loading correction applied. */
struct loaded_reading {
    double value;
    double standard;  /* standard uncertainty of value, >= 0 */
    struct load load; /* resistance and its tolerance; INFINITY: no load at all */
};

struct unloaded {
    double value;               /* the unloaded value, unit of the readings */
    double standard;            /* its standard uncertainty */
    double resistance;          /* of the source, ohm */
    double resistance_standard; /* its standard uncertainty */
};

/*
 * Solves for the unloaded value. The readings are taken as independent, which
 * counts an error that both have in common (a gain) too high, never too low.
 *
 * Fails (FAILURE_NO_VALUE) with the reason when a figure is not known, the
 * loads are too alike or the readings too uncertain for a result to first
 * order (u(D) above a tenth of D), the heavier load does not read less by what
 * their uncertainty allows, or the values differ in sign: the source was not
 * the same both times.
 */
bool two_load_solve(const struct loaded_reading *one, const struct loaded_reading *other,
                    struct unloaded *unloaded, struct failure *failure);

#endif
