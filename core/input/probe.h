/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Anything between the test point and the instrument's input: a divider, a
 * shunt, a clamp, a transducer. At its tip stands the quantity that is
 * wanted; at its output a voltage (or whatever the instrument takes).
 *
 *     tip = output * factor + offset          [factor: tip unit per input unit]
 *
 * A 10x divider has factor 10 V/V; a shunt of 0.01 V/A has factor 100 A/V.
 */
#ifndef GRADUS_CORE_PROBE_H
#define GRADUS_CORE_PROBE_H

#include "core/basics/quantity.h"

#include <stdbool.h>

/* Bytes of names and units, terminator included. */
enum { PROBE_NAME = 64, PROBE_UNIT = 16 };

/*
 * All SI base units. A field that is not known is NAN; `tolerance` and
 * `offset_tolerance` are bounds (half-widths of a rectangular distribution).
 */
struct probe {
    char name[PROBE_NAME];
    enum dimension dimension;     /* at the tip */
    char unit[PROBE_UNIT];        /* at the tip: "V", "A", "°C", ... */
    double factor;                /* tip units per input unit, not zero, finite */
    double tolerance;             /* relative bound on factor, 0.01 for 1 % */
    double offset;                /* tip units at zero output */
    double offset_tolerance;      /* tip units */
    double offset_standard;       /* standard uncertainty of one that was measured; 0: stated */
    double tip_resistance;        /* ohm at the tip; NAN: the instrument's own input resistance */
    double resistance_tolerance;  /* relative bound on tip_resistance */
    double tip_capacitance;       /* farad at the tip; NAN: the instrument's own and the cable's */
    double capacitance_tolerance; /* relative bound on tip or cable capacitance; NAN: not known */
    double cable_capacitance;     /* farad, beside the instrument's own; 0: none */
    double load_resistance;       /* input resistance the factor holds for, ohm; NAN: any */
    double bandwidth;             /* -3 dB, hertz; NAN: not limited here */
    double rating;                /* largest |peak| at the tip, tip units; NAN: not stated */
    double rating_corner;         /* hertz above which the rating falls; NAN: it does not */
    bool isolated;                /* nothing at the tip is tied to the instrument's ground */
};

/* A plain 1x connection: factor 1, no tolerance, nothing added. */
struct probe probe_direct(void);

/* Input to tip. */
double probe_to_tip(const struct probe *probe, double input);

/* Tip to input, the inverse of probe_to_tip(). */
double probe_to_input(const struct probe *probe, double tip);

/*
 * The largest |peak| allowed at the tip at `frequency` (hertz, >= 0). Above
 * the corner the rating falls by 20 dB a decade: rating * corner / frequency,
 * the shape makers publish for inputs and dividers (see tests/reference).
 * NAN when no rating is stated. A frequency that is not known (NAN) gives the
 * rating below the corner.
 */
double probe_rating_at(const struct probe *probe, double frequency);

/*
 * Whether the factor holds on an input of `input_resistance` ohm: within 2 %
 * of the resistance that the probe was made for, or the probe does not care,
 * or the input resistance is not known (NAN). A 10x divider made for 1 megohm
 * is no 10x divider on a 10 megohm meter.
 */
bool probe_fits_input(const struct probe *probe, double input_resistance);

#endif
