/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From the source to the instrument's terminals: source resistance, probe and
 * the instrument's own input resistance as one divider of real resistors. The
 * load is really there, so a high source resistance really reads low, and a
 * divider made for one input resistance really divides wrongly on another.
 */
#ifndef STANDIN_CIRCUIT_H
#define STANDIN_CIRCUIT_H

#include "source.h"
#include "tools/standin/basics/problem.h"

#include <stdbool.h>

/* Ohms in the path of a meter's current function. */
#define CIRCUIT_BURDEN 0.1

struct probe {
    double factor;           /* tip units per input unit, nominal; not zero */
    double factor_error;     /* the true factor is factor * (1 + factor_error) */
    double factor_tolerance; /* more error, drawn within this bound when connected */
    double tip_resistance;   /* ohm; 0: the instrument's own input resistance */
    double load_resistance;  /* input resistance the factor holds for; 0: any */
    double shunt;            /* ohm, for a source in amperes; 0: none */
    double clamp;            /* volts per ampere, loads nothing; 0: none */
    double offset;           /* volts added at the instrument's terminals */
    double tip_capacitance;  /* farad across the point; it loads sines only */
    double bandwidth;        /* -3 dB of the probe, first order; 0: not limited. Of lines
                               a scope sees it only */
    double lead_resistance;  /* ohm of both leads, part of a resistance on two wires */
    double termination;      /* ohm left on across the input; 0: none */
    double
        edge_ratio;  /* of a divider that is not compensated: initial over final level; 0: it is */
    double edge_tau; /* its time constant, seconds; a scope sees it only */
    bool blocks_dc;  /* a capacitor in the way: nothing of the level gets through */
};

/* A plain wire: factor 1 and nothing else. */
struct probe probe_wire(void);

/* Whether the fields make sense together and with the unit of the source. */
bool probe_check(const struct probe *probe, const struct source *source, struct problem *problem);

/* One input of an instrument tied to a source; `source` is NULL when it is open. Borrowed. */
struct tie {
    const struct source *source;
    struct probe probe;
};

/*
 * Volts at an input of `input_resistance` ohm per unit of the source. A
 * current source without a shunt drives the input resistance itself.
 */
double circuit_voltage_gain(const struct tie *tie, double input_resistance);

/*
 * What capacitance and bandwidth leave of a source's sine beyond
 * circuit_voltage_gain(), 0 ... 1. Straight lines have no such single share: 1.
 */
double circuit_sine_share(const struct tie *tie, double input_resistance);

/* Amperes through a meter's current terminals per unit of the source. */
double circuit_current_gain(const struct tie *tie);

#endif
