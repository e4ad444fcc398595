/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Periodic waveforms in closed form. A waveform is a sine or a chain of
 * straight lines over one period; its mean, RMS and rectified mean are exact,
 * and so is what a first-order high-pass leaves of it. The phase counts
 * periods: 0 is the start of one, 1 the start of the next.
 */
#ifndef STANDIN_WAVE_H
#define STANDIN_WAVE_H

#include <stdbool.h>
#include <stddef.h>

enum { WAVE_KNOTS = 7 };

enum wave_shape { WAVE_NONE, WAVE_SINE, WAVE_LINES };

struct wave {
    enum wave_shape shape;
    double frequency; /* hertz; 0 when there is no waveform */
    double amplitude; /* peak of a sine */
    size_t count;     /* knots of the lines; the last one stands at phase 1 */
    double phase[WAVE_KNOTS];
    double value[WAVE_KNOTS];
};

/* Nothing at all: zero at every phase. */
struct wave wave_none(void);

/* A sine about zero; `amplitude` is its peak. */
struct wave wave_sine(double amplitude, double frequency);

/* A symmetrical triangle about zero; `amplitude` is its peak. */
struct wave wave_triangle(double amplitude, double frequency);

/*
 * A pulse train from `low` to `high`. `duty` is the width at half height over
 * the period; `rise` is the 10 % to 90 % time of both edges in seconds, 0 for
 * ideal ones. Returns false when the edges do not fit into the period.
 */
bool wave_pulse(double low, double high, double frequency, double duty, double rise,
                struct wave *wave);

/*
 * Lets both edges of a pulse train shoot over by `overshoot` of its height, to come back to the level in a
 * straight line within `tail` seconds. False, leaving the train as it is, where that does not fit.
 */
bool wave_shoot_over(struct wave *wave, double overshoot, double tail);

/* The value at a phase of any size. */
double wave_at(const struct wave *wave, double phase);

/* The mean over one period. */
double wave_mean(const struct wave *wave);

/* RMS of the waveform with its mean taken away. */
double wave_ac_rms(const struct wave *wave);

/*
 * Mean of the magnitude of the waveform with its mean taken away and Gaussian
 * noise of RMS `noise` (>= 0) on it, the magnitude taken of the sum.
 */
double wave_ac_mean_magnitude(const struct wave *wave, double noise);

/* The largest and the smallest value in one period. */
double wave_maximum(const struct wave *wave);
double wave_minimum(const struct wave *wave);

/* |H| of a first-order high-pass: f / sqrt(f^2 + corner^2). */
double highpass_gain(double frequency, double corner);

/* A waveform behind a first-order high-pass, in the steady state. Borrows the waveform. */
struct highpass {
    const struct wave *wave;
    double corner;              /* hertz; 0: nothing is taken away */
    double gain;                /* of a sine */
    double lead;                /* of a sine, periods */
    double rate;                /* decay of the lines, per period */
    double settled[WAVE_KNOTS]; /* of the lines: the output at each knot */
};

/* Prepares the steady state; `corner` in hertz, >= 0. */
void highpass_prepare(struct highpass *highpass, const struct wave *wave, double corner);

/* The value behind the high-pass at a phase of any size. */
double highpass_at(const struct highpass *highpass, double phase);

#endif
