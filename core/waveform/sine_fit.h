/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Least-squares sine fits after IEEE Std 1057 (and 1241): with the frequency
 * known, three parameters; else four, by an iteration that solves for a
 * correction of the frequency with the other three.
 *
 *     y(t) = in_phase cos(2 pi f t) + quadrature sin(2 pi f t) + offset,  t = 0 at the first sample
 */
#ifndef GRADUS_CORE_SINE_FIT_H
#define GRADUS_CORE_SINE_FIT_H

#include "core/samples/series.h"
#include "core/samples/wave_reason.h"

/* A fitted sine, in the record's values, with standard uncertainties where noise is white. */
struct sine_fit {
    double frequency;  /* hertz */
    double in_phase;   /* of the cosine */
    double quadrature; /* of the sine */
    double offset;
    double amplitude;             /* of the sine, half its peak-to-peak value; >= 0 */
    double phase;                 /* radians: y = amplitude cos(2 pi f t + phase) + offset */
    double residual;              /* root of the mean square of what the sine leaves over */
    double frequency_uncertainty; /* sqrt(24 / N (N^2 - 1)) residual / amplitude (Rife, Boorstyn) */
    double amplitude_uncertainty; /* residual sqrt(2 / N) */
    double offset_uncertainty;    /* residual / sqrt(N) */
};

/*
 * Fits with a known frequency; its uncertainty is then NAN. Two passes; allocates nothing.
 * Returns WAVE_NONE and fills `fit`, else, writing nothing: BAD_SAMPLES (fewer than 5, or not
 * finite), FEW_PERIODS (less than one in the record), FEW_SAMPLES (not more than two a period).
 */
enum wave_reason sine_fit_three(const struct series *series, double frequency,
                                struct sine_fit *fit);

/*
 * One iteration of the four-parameter fit: improves all parameters of `fit`.
 * Returns as sine_fit_three(), and NO_FIT where the equations are singular or the correction
 * leaves the frequencies that the record can show.
 */
enum wave_reason sine_fit_step(const struct series *series, struct sine_fit *fit);

/*
 * Fits frequency and all. Returns as sine_fit_step(), and NO_FIT when the frequency has not
 * come to rest, within 1e-11 of itself, after 30 iterations or has moved by more than half
 * a period over the record: such a rest is some other minimum than the nearest.
 *
 * start  hertz; within about half a period over the record of the true one
 */
enum wave_reason sine_fit_four(const struct series *series, double start, struct sine_fit *fit);

/* Signal over noise and distortion: RMS of the fitted sine over the residual, dB. */
double sine_fit_sinad(const struct sine_fit *fit);

#endif
