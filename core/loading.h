/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the measurement itself does to the circuit: a source of resistance Rs
 * loaded by the probe's tip resistance Rin shows Rin / (Rs + Rin) of its
 * unloaded voltage (checks M37 to M42). Resistive loading at dc; loading by
 * capacitance at a frequency has its place here too.
 */
#ifndef GRADUS_CORE_LOADING_H
#define GRADUS_CORE_LOADING_H

#include <stdbool.h>

/* The circuit seen from the test point. Ohms; NAN when not known. */
struct source {
    double resistance;
    double tolerance; /* relative bound on resistance, >= 0 */
};

/* The load that the probe (or the bare input) puts on the point. */
struct load {
    double resistance; /* ohm, > 0; NAN when not known */
    double tolerance;  /* relative bound on resistance, >= 0 */
};

struct loading {
    bool known;         /* both resistances are known; all else is NAN if not */
    double ratio;       /* loaded over unloaded, 0 < ratio <= 1 */
    double relative;    /* ratio - 1: the relative error of an uncorrected reading, <= 0 */
    double factor;      /* 1 / ratio = 1 + Rs/Rin: multiplies a reading to correct it */
    double uncertainty; /* relative standard uncertainty of factor, rectangular bounds (M42 note) */
};

/*
 * Evaluates the divider formed by source and load. Not known when a resistance
 * is NAN, the source's negative or infinite, or the load's not > 0.
 */
struct loading loading_resistive(const struct source *source, const struct load *load);

#endif
