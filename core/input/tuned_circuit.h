/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a probe's capacitance does to a tuned circuit: it stands across the
 * circuit's own and lowers the resonance, f = 1 / (2 pi sqrt(L C)).
 * Losses are left out: they move the resonance by less than 1 / (8 Q^2).
 */
#ifndef GRADUS_CORE_TUNED_CIRCUIT_H
#define GRADUS_CORE_TUNED_CIRCUIT_H

/* Resonance in hertz; inductance in henry and capacitance in farad, both > 0, else NAN. */
double tuned_frequency(double inductance, double capacitance);

/* The capacitance that resonates with `inductance` at `frequency`; NAN when one is not > 0. */
double tuned_capacitance(double inductance, double frequency);

/*
 * The resonance with `added` farad (>= 0) across a circuit that has
 * `capacitance` and resonates at `frequency`; NAN when out of bounds.
 * (Its share of change is the result over `frequency`, minus 1.)
 */
double tuned_loaded(double frequency, double capacitance, double added);

#endif
