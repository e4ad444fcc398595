/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a record says of a signal's shape, each figure with what noise, converter and samples leave open
 * about it, or why it cannot be told. State levels, reference levels (10, 50 and 90 %), transition
 * durations, overshoot and duty factor as in IEEE Std 181; distortion as in core/waveform/harmonics.
 */
#ifndef GRADUS_CORE_FIGURES_H
#define GRADUS_CORE_FIGURES_H

#include "timebase.h"
#include "waveform.h"

enum figure_kind {
    FIGURE_FREQUENCY,   /* hertz */
    FIGURE_PERIOD,      /* seconds */
    FIGURE_DUTY,        /* share of a period that is high */
    FIGURE_PULSE_WIDTH, /* seconds that it is high, 50 % instants */
    FIGURE_RISE,        /* seconds, 10 to 90 %, as they appear in the record */
    FIGURE_FALL,
    FIGURE_OVERSHOOT,  /* share of the amplitude, behind rising transitions */
    FIGURE_AMPLITUDE,  /* from the low to the high state, the record's values */
    FIGURE_DISTORTION, /* share of the fundamental */
    FIGURE_COUNT
};

/*
 * One of them. Where edges fall between samples all periods together say where they are: pulse width
 * and duty then have a bound that all pairs of samples leave. Over several transitions they are means.
 */
struct figure {
    enum wave_reason lack; /* WAVE_NONE: it is there */
    double value;
    double scatter;  /* standard uncertainty by noise and by what state levels are off */
    double doubt;    /* bound by what lies between samples or within a step of the converter */
    double at_most;  /* of a rise or fall that is too fast for the samples; NAN: nothing is known */
    double averaged; /* of the amplitude: so many roundings each level is a mean of */
};

struct figures {
    struct figure of[FIGURE_COUNT];
    size_t orders; /* of the distortion: harmonics it is of */
};

/*
 * Measures all. 50 KiB of stack; some passes.
 *
 * waveform  what waveform_measure_series() said of the same record
 */
void figures_measure(const struct series *series, const struct waveform *waveform,
                     struct figures *figures);

/*
 * What a record needs for one: edges the finest samples in which a whole one is sure to lie, since nothing
 * triggers; widths and frequency more periods, for what lies between samples averages out; distortion
 * samples for the fortieth harmonic.
 */
struct timebase_need figure_need(enum figure_kind kind);

/*
 * When a periodic signal rises through its middle, seconds from the record's first sample: the middle between its
 * states, of a sine its mean, of anything else between its extremes. Of all periods together,
 * turned back to the first. What an error of the frequency does is in it for one turn, since the instants of two
 * signals that are compared at one frequency move together.
 *
 * frequency  of the signal, WAVE_NONE
 */
struct figure figures_instant(const struct series *series, const struct waveform *waveform,
                              const struct figure *frequency);

/* All of them lacking for one reason. */
void figures_lack(struct figures *figures, enum wave_reason reason);

#endif
