/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "waveshape.h"

#include <math.h>
#include <stddef.h>

static const double pi = 3.14159265358979323846;

const char *const waveshape_names[] = {
    [WAVESHAPE_UNKNOWN] = "unknown",
    [WAVESHAPE_SINE] = "sine",
    [WAVESHAPE_SQUARE] = "square",
    [WAVESHAPE_TRIANGLE] = "triangle",
    [WAVESHAPE_SAWTOOTH] = "sawtooth",
    [WAVESHAPE_HALF_WAVE] = "half wave",
    [WAVESHAPE_FULL_WAVE] = "full wave",
    [WAVESHAPE_PULSE] = "pulse",
    NULL,
};

static bool is_pulse(struct waveshape shape)
{
    return shape.kind == WAVESHAPE_PULSE && shape.duty > 0 && shape.duty < 1;
}

/* Symmetrical about zero: nothing changes when the (zero) mean is taken away. */
static struct waveshape_figures symmetrical(double rms, double magnitude)
{
    return (struct waveshape_figures) { 0, rms, rms, magnitude, magnitude, 1, 2 };
}

/*
 * A rectified sine without its mean m is above zero between the angles where
 * sin = m. Its mean magnitude is twice the area above, over the period p (2 pi
 * for a half wave, pi for a full wave): 2 (2 cos a - m (pi - 2 a)) / p, sin a = m.
 */
static struct waveshape_figures rectified(double rms, double period)
{
    double mean = 2 / period;
    double angle = asin(mean);
    double above = 2 * cos(angle) - mean * (pi - 2 * angle);
    return (struct waveshape_figures) {
        mean, rms, sqrt(rms * rms - mean * mean), mean, 2 * above / period, fmax(mean, 1 - mean), 1
    };
}

static struct waveshape_figures pulse(double duty)
{
    return (struct waveshape_figures) { duty,
                                        sqrt(duty),
                                        sqrt(duty * (1 - duty)),
                                        duty,
                                        2 * duty * (1 - duty),
                                        fmax(duty, 1 - duty),
                                        1 };
}

struct waveshape_figures waveshape_figures(struct waveshape shape)
{
    switch (shape.kind) {
    case WAVESHAPE_SINE:
        return symmetrical(sqrt(0.5), 2 / pi);
    case WAVESHAPE_SQUARE:
        return symmetrical(1, 1);
    case WAVESHAPE_TRIANGLE:
    case WAVESHAPE_SAWTOOTH:
        return symmetrical(1 / sqrt(3), 0.5);
    case WAVESHAPE_HALF_WAVE:
        return rectified(0.5, 2 * pi);
    case WAVESHAPE_FULL_WAVE:
        return rectified(sqrt(0.5), pi);
    case WAVESHAPE_PULSE:
        return pulse(is_pulse(shape) ? shape.duty : NAN);
    case WAVESHAPE_UNKNOWN:
        break;
    }
    return pulse(NAN);
}

double waveshape_crest(struct waveshape shape)
{
    struct waveshape_figures figures = waveshape_figures(shape);
    return shape.kind == WAVESHAPE_UNKNOWN ? NAN : figures.ac_peak / figures.ac_rms;
}

double waveshape_average_error(struct waveshape shape, bool coupled)
{
    struct waveshape_figures figures = waveshape_figures(shape);
    double share =
        coupled ? figures.ac_magnitude / figures.ac_rms : figures.magnitude / figures.rms;
    return shape.kind == WAVESHAPE_UNKNOWN ? NAN : pi / (2 * sqrt(2)) * share - 1;
}

/* |H| = 1 / sqrt(1 + (f / fc)^2). */
static double sine_loss(double ratio)
{
    return 1 - 1 / hypot(1, ratio);
}

/*
 * Two levels through a time constant tau = 1 / (2 pi fc): the output swings by
 * s = (1 - exp(-D T/tau)) (1 - exp(-(1 - D) T/tau)) / (1 - exp(-T/tau)), and its
 * variance is D (1 - D) - s tau/T. `width` is T/tau.
 */
static double pulse_loss(double duty, bool peaks, double width)
{
    double swing = -expm1(-duty * width) * expm1(-(1 - duty) * width) / expm1(-width);
    if (peaks)
        return fmax(0, 1 - swing);
    double lost = swing / width / (duty * (1 - duty));
    return lost < 1 ? 1 - sqrt(1 - lost) : 1;
}

/* A ramp of slope s that turns over lags by s tau and turns s tau ln(2 / (1 + e^(-T/2tau))) early. */
static double triangle_peaks(double width)
{
    return fmin(1, 4 / width * log(2 / (1 + exp(-width / 2))));
}

/* Odd harmonics 1/n^2: in RMS what is left is the sum of n^-4 |H(n f)|^2, over pi^4/96. */
static double triangle_rms(double ratio)
{
    double left = 0;
    for (int n = 99; n > 0; n -= 2) {
        double h = n * ratio;
        left += 1 / (pow(n, 4) * (1 + h * h));
    }
    return fmax(0, 1 - sqrt(fmin(1, left / (pow(pi, 4) / 96))));
}

/*
 * Of all but pulses a sawtooth loses most. Its peaks: behind the edge it turns
 * tau ln(T/tau) late and it lags by tau, which is tau/T (1 + ln(T/tau)) of
 * the whole. Its RMS: less than a square of twice the frequency loses. Both
 * bound what rectified sines lose, which have no edges (tests/core checks all
 * of them against stepping through the period).
 */
static double bounded_loss(bool peaks, double width)
{
    if (!peaks)
        return pulse_loss(0.5, false, width / 2);
    return width > 1 ? (1 + log(width)) / width : 1;
}

double waveshape_loss(struct waveshape shape, bool peaks, double frequency, double corner)
{
    if (isnan(corner) || isinf(corner))
        return 0;
    if (!(frequency > 0) || !(corner > 0))
        return frequency == 0 ? 0 : 1;
    double ratio = frequency / corner;
    double width = 2 * pi / ratio;
    switch (shape.kind) {
    case WAVESHAPE_SINE:
        return sine_loss(ratio);
    case WAVESHAPE_SQUARE:
        return pulse_loss(0.5, peaks, width);
    case WAVESHAPE_PULSE:
        return is_pulse(shape) ? pulse_loss(shape.duty, peaks, width) : 1;
    case WAVESHAPE_TRIANGLE:
        return peaks ? triangle_peaks(width) : triangle_rms(ratio);
    default:
        return fmax(sine_loss(ratio), bounded_loss(peaks, width));
    }
}
