/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the measurement itself does to the circuit: a source loaded by the
 * probe, or the bare input, shows less than its unloaded voltage. Source and
 * load are each a resistance with a capacitance in parallel; at dc only the
 * resistances count, 1 / (1 + Rs / Rin), at a frequency both do, Z / (Z + Zs)
 * with Z = R / (1 + 2 pi i f R C). Worked at dc in Helfrick and Cooper, Modern
 * Electronic Instrumentation and Measurement Techniques, Example 4-5 (p. 62).
 */
#ifndef GRADUS_CORE_LOADING_H
#define GRADUS_CORE_LOADING_H

#include <stdbool.h>

/*
 * The circuit seen from the test point. Ohms and farads; a resistance is NAN
 * when not known. The capacitance belongs to the circuit: the unloaded
 * voltage is the one that stands across it.
 */
struct source {
    double resistance;
    double tolerance;             /* relative bound on resistance, >= 0 */
    double capacitance;           /* across the point, >= 0 */
    double capacitance_tolerance; /* relative bound on it, >= 0 */
};

/* The load that the probe (or the bare input) puts on the point. */
struct load {
    double resistance;            /* ohm, > 0; NAN when not known */
    double tolerance;             /* relative bound on resistance, >= 0 */
    double capacitance;           /* farad, cable and input included; NAN when not known */
    double capacitance_tolerance; /* relative bound on it, >= 0; NAN when not known */
};

struct loading {
    bool known;         /* all that counts is known; all else is NAN if not */
    double frequency;   /* hertz that it holds for; 0: dc */
    double ratio;       /* loaded over unloaded, 0 < ratio, <= 1 */
    double relative;    /* ratio - 1: the relative error of an uncorrected reading, <= 0 */
    double factor;      /* 1 / ratio: multiplies a reading to correct it */
    double uncertainty; /* relative standard uncertainty of factor, rectangular bounds */
};

/*
 * Evaluates the divider formed by source and load at dc. Not known when a
 * resistance is NAN, the source's negative or infinite, or the load's not > 0.
 */
struct loading loading_resistive(const struct source *source, const struct load *load);

/*
 * The same at a frequency, for a sine: factor = |1 + Zs / Zl|, Z = R / (1 + jwRC).
 * Its uncertainty is that of all four values to first order (JCGM 100 5.1.2).
 * Not known when a capacitance, its tolerance, or the frequency (hertz, >= 0)
 * is not, or when loading_resistive() is not.
 */
struct loading loading_at(const struct source *source, const struct load *load, double frequency);

#endif
