/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "wave.h"

#include <math.h>

enum { QUARTER_STEPS = 1000 };

struct wave wave_none(void)
{
    return (struct wave) { .shape = WAVE_NONE };
}

struct wave wave_sine(double amplitude, double frequency)
{
    return (struct wave) { .shape = WAVE_SINE, .amplitude = amplitude, .frequency = frequency };
}

struct wave wave_triangle(double amplitude, double frequency)
{
    return (struct wave) {
        .shape = WAVE_LINES,
        .frequency = frequency,
        .count = 4,
        .phase = { 0.0, 0.25, 0.75, 1.0 },
        .value = { 0.0, amplitude, -amplitude, 0.0 },
    };
}

bool wave_pulse(double low, double high, double frequency, double duty, double rise,
                struct wave *wave)
{
    /* A straight edge spends 80 % of its length between 10 % and 90 %. */
    double edge = rise / 0.8 * frequency;

    if (!(duty > 0.0 && duty < 1.0 && edge >= 0.0 && edge <= duty && duty + edge <= 1.0))
        return false;
    *wave = (struct wave) {
        .shape = WAVE_LINES,
        .frequency = frequency,
        .count = 5,
        .phase = { 0.0, edge, duty, duty + edge, 1.0 },
        .value = { low, high, high, low, low },
    };
    return true;
}

bool wave_shoot_over(struct wave *wave, double overshoot, double tail)
{
    double low = wave->value[0], high = wave->value[1], over = overshoot * (high - low);
    double duty = wave->phase[2], edge = wave->phase[1] * (1.0 + overshoot);
    double back = edge + tail * wave->frequency;

    if (!(overshoot >= 0.0 && tail >= 0.0 && back < duty && duty + back < 1.0))
        return false;
    *wave = (struct wave) {
        .shape = WAVE_LINES,
        .frequency = wave->frequency,
        .count = 7,
        .phase = { 0.0, edge, back, duty, duty + edge, duty + back, 1.0 },
        .value = { low, high + over, high, high, low - over, low, low },
    };
    return true;
}

/* The line that holds a phase in [0, 1): from knot k to knot k + 1, never one of no length. */
static size_t line_of(const struct wave *wave, double phase)
{
    size_t k = 0;

    while (k + 2 < wave->count && phase >= wave->phase[k + 1])
        k++;
    return k;
}

static double slope_of(const struct wave *wave, size_t k)
{
    double length = wave->phase[k + 1] - wave->phase[k];

    return length > 0.0 ? (wave->value[k + 1] - wave->value[k]) / length : 0.0;
}

double wave_at(const struct wave *wave, double phase)
{
    double p = phase - floor(phase);

    switch (wave->shape) {
    case WAVE_SINE:
        return wave->amplitude * sin(2.0 * M_PI * p);
    case WAVE_LINES: {
        size_t k = line_of(wave, p);

        return wave->value[k] + slope_of(wave, k) * (p - wave->phase[k]);
    }
    case WAVE_NONE:
        break;
    }
    return 0.0;
}

double wave_mean(const struct wave *wave)
{
    double sum = 0.0;

    for (size_t k = 0; k + 1 < wave->count; k++) {
        double length = wave->phase[k + 1] - wave->phase[k];

        sum += length * (wave->value[k] + wave->value[k + 1]) / 2.0;
    }
    return sum;
}

double wave_ac_rms(const struct wave *wave)
{
    double mean = wave_mean(wave);
    double sum = 0.0;

    if (wave->shape == WAVE_SINE)
        return fabs(wave->amplitude) / M_SQRT2;
    for (size_t k = 0; k + 1 < wave->count; k++) {
        double length = wave->phase[k + 1] - wave->phase[k];
        double a = wave->value[k] - mean;
        double b = wave->value[k + 1] - mean;

        /* The mean square of a straight line from a to b is (a^2 + ab + b^2) / 3. */
        sum += length * (a * a + a * b + b * b) / 3.0;
    }
    return sqrt(sum);
}

/* Mean of |x + n| for n Gaussian of RMS `noise` > 0: that of a folded normal distribution. */
static double folded_mean(double x, double noise)
{
    double z = x / noise;

    return noise * sqrt(2.0 / M_PI) * exp(-z * z / 2.0) + x * erf(z / M_SQRT2);
}

/* The integral of folded_mean() from 0 to x. */
static double folded_integral(double x, double noise)
{
    double z = x / noise;

    return (x * x + noise * noise) / 2.0 * erf(z / M_SQRT2) +
           noise * x / sqrt(2.0 * M_PI) * exp(-z * z / 2.0);
}

/*
 * Mean of |x + noise| along a straight line from a to b, which may cross zero.
 * Too short a line for the difference of two integrals counts as its middle.
 */
static double line_mean_magnitude(double a, double b, double noise)
{
    if (noise > 0.0) {
        return fabs(b - a) > 1e-4 * noise
                   ? (folded_integral(b, noise) - folded_integral(a, noise)) / (b - a)
                   : folded_mean((a + b) / 2.0, noise);
    }
    if (a * b >= 0.0)
        return (fabs(a) + fabs(b)) / 2.0;
    return (a * a + b * b) / (2.0 * (fabs(a) + fabs(b)));
}

/* Over a quarter of a sine, which the others repeat, by the midpoint rule. */
static double sine_mean_magnitude(double amplitude, double noise)
{
    double sum = 0.0;

    if (noise <= 0.0)
        return fabs(amplitude) * 2.0 / M_PI;
    for (int n = 0; n < QUARTER_STEPS; n++)
        sum += folded_mean(amplitude * sin(M_PI_2 * (n + 0.5) / QUARTER_STEPS), noise);
    return sum / QUARTER_STEPS;
}

double wave_ac_mean_magnitude(const struct wave *wave, double noise)
{
    double mean = wave_mean(wave);
    double sum = 0.0;

    if (wave->shape == WAVE_SINE)
        return sine_mean_magnitude(wave->amplitude, noise);
    if (wave->shape == WAVE_NONE)
        return noise * sqrt(2.0 / M_PI);
    for (size_t k = 0; k + 1 < wave->count; k++) {
        double length = wave->phase[k + 1] - wave->phase[k];

        sum +=
            length * line_mean_magnitude(wave->value[k] - mean, wave->value[k + 1] - mean, noise);
    }
    return sum;
}

double wave_maximum(const struct wave *wave)
{
    double highest = wave->shape == WAVE_LINES ? wave->value[0] : fabs(wave->amplitude);

    for (size_t k = 1; k < wave->count; k++)
        highest = fmax(highest, wave->value[k]);
    return highest;
}

double wave_minimum(const struct wave *wave)
{
    double lowest = wave->shape == WAVE_LINES ? wave->value[0] : -fabs(wave->amplitude);

    for (size_t k = 1; k < wave->count; k++)
        lowest = fmin(lowest, wave->value[k]);
    return lowest;
}

double highpass_gain(double frequency, double corner)
{
    return corner > 0.0 ? frequency / hypot(frequency, corner) : 1.0;
}

/*
 * Output y of the high-pass along a straight line of slope s, from y0 on:
 * y' = s - r y, so y(p) = y0 e^(-rp) + s (1 - e^(-rp)) / r.
 */
static double line_settle(double y0, double slope, double rate, double length)
{
    double decayed = -expm1(-rate * length);

    return y0 * (1.0 - decayed) + slope * decayed / rate;
}

/* Runs through one period from the output y0 and notes the output at each knot. */
static void run_period(struct highpass *highpass, double y0)
{
    const struct wave *wave = highpass->wave;
    double y = y0;

    highpass->settled[0] = y;
    for (size_t k = 0; k + 1 < wave->count; k++) {
        double length = wave->phase[k + 1] - wave->phase[k];

        if (length > 0.0)
            y = line_settle(y, slope_of(wave, k), highpass->rate, length);
        else
            y += wave->value[k + 1] - wave->value[k];
        highpass->settled[k + 1] = y;
    }
}

void highpass_prepare(struct highpass *highpass, const struct wave *wave, double corner)
{
    *highpass = (struct highpass) { .wave = wave, .corner = corner, .gain = 1.0 };
    if (corner <= 0.0 || wave->shape == WAVE_NONE)
        return;
    highpass->gain = highpass_gain(wave->frequency, corner);
    highpass->lead = atan2(corner, wave->frequency) / (2.0 * M_PI);
    highpass->rate = 2.0 * M_PI * corner / wave->frequency;
    if (wave->shape == WAVE_LINES) {
        /* One period multiplies what was there by e^-r and adds what a run from zero ends on. */
        run_period(highpass, 0.0);
        run_period(highpass, highpass->settled[wave->count - 1] / -expm1(-highpass->rate));
    }
}

double highpass_at(const struct highpass *highpass, double phase)
{
    const struct wave *wave = highpass->wave;

    if (highpass->corner <= 0.0 || wave->shape == WAVE_NONE)
        return wave_at(wave, phase);
    if (wave->shape == WAVE_SINE)
        return highpass->gain * wave_at(wave, phase + highpass->lead);
    double p = phase - floor(phase);
    size_t k = line_of(wave, p);

    return line_settle(highpass->settled[k], slope_of(wave, k), highpass->rate, p - wave->phase[k]);
}
