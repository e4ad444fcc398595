/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sine_check.h"

#include "extreme.h"
#include "sine_fit.h"

#include <complex.h>
#include <math.h>

enum { FEWEST_SAMPLES = 64, FITTED = 4, SECOND = 2, LAST = 7, BLOCK = 256 };

static const double two_pi = 6.2831853071795865;

/* As sine_check.h explains them. */
static const double most_harmonic = 15.0;
static const double most_correlation = 4.0;
static const double surely = 0.9999;
static const double least_steps = 4.0;

/* Two frequencies are told apart from so many bins of the record on. */
static const double bins_apart = 2.0;

/* A fit of samples without noise leaves rounding errors over, which are not white. */
static const double least_noise = 1e-9;

/* What is left over, one sample after the other. */
struct remains {
    double square;
    double product; /* of neighbours */
    double largest;
    bool shown[LAST + 1]; /* the harmonics that samples tell apart */
    double complex harmonics[LAST + 1];
};

static void add_sample(double left, double before, double complex turn, struct remains *remains)
{
    remains->square += left * left;
    remains->product += left * before;
    remains->largest = fmax(remains->largest, fabs(left));
    double complex harmonic = turn;
    for (int h = SECOND; h <= LAST; h++) {
        harmonic *= turn;
        remains->harmonics[h] += left * harmonic;
    }
}

/* Where harmonic h appears, in periods per sample: up to half of one, what is above folded back. */
static double appears_at(double frequency, int h)
{
    double turns = frequency * h - floor(frequency * h);
    return fmin(turns, 1 - turns);
}

/*
 * A harmonic above half the sample rate appears below it. It is told from level, sine and lower harmonics
 * where it is two bins of the record away from them, and from half the sample rate.
 */
static void find_shown(double frequency, double count, bool shown[LAST + 1])
{
    for (int h = SECOND; h <= LAST; h++) {
        double here = appears_at(frequency, h), apart = fmin(here, 0.5 - here);
        for (int lower = 1; lower < h; lower++)
            if (lower == 1 || shown[lower])
                apart = fmin(apart, fabs(here - appears_at(frequency, lower)));
        shown[h] = apart * count >= bins_apart;
    }
}

static struct remains remains_of(const struct series *series, const struct sine_fit *fit)
{
    double angle = two_pi * fit->frequency * series->interval;
    struct remains remains = { 0 };
    find_shown(angle / two_pi, (double)series->count, remains.shown);
    double complex step = cexp(I * angle), turn = 1;
    double before = 0;
    for (size_t i = 0; i < series->count; i++) {
        if (i % BLOCK == 0)
            turn = cexp(I * angle * (double)i);
        double sine = fit->in_phase * creal(turn) + fit->quadrature * cimag(turn);
        double left = series_value(series, series_at(series, i)) - fit->offset - sine;
        add_sample(left, before, turn, &remains);
        before = left;
        turn *= step;
    }
    return remains;
}

/* The power of all harmonics, in that which noise gives to one on average. */
static double harmonic_power(const struct remains *remains, double count, double mean_variance)
{
    double power = 0;
    for (int h = SECOND; h <= LAST; h++) {
        if (!remains->shown[h])
            continue;
        double amplitude = 2 * cabs(remains->harmonics[h]) / count;
        power += amplitude * amplitude / (4 * mean_variance);
    }
    return power;
}

/* Variance of a mean of all samples. */
static double mean_variance(const struct sine_figures *figures, double step)
{
    return figures->noise * figures->noise / figures->samples +
           step * step / 12 / figures->roundings;
}

static bool is_noise(const struct remains *remains, const struct sine_figures *figures, double step)
{
    double n = figures->samples, rounding = step * step / 12;
    double variance = figures->noise * figures->noise + rounding;
    double of_mean = mean_variance(figures, step);
    double correlation = remains->product / n / variance;
    double worst = sqrt(variance) * extreme_quantile(2 * n, surely) + step / 2;
    return harmonic_power(remains, n, of_mean) <= most_harmonic &&
           fabs(correlation) <= most_correlation * sqrt(of_mean / variance) &&
           remains->largest <= worst;
}

/*
 * What the harmonics add at an angle where the sine is highest (sign 1) or lowest (-1): their value there, and as
 * their slope d moves the extreme, d^2 / 2A more, less what noise alone would make of that.
 */
static double added_at(const struct remains *remains, const struct sine_figures *figures,
                       double step, double sign, double angle)
{
    double value = 0, slope = 0, by_noise = 0;
    for (int h = SECOND; h <= LAST; h++) {
        if (!remains->shown[h])
            continue;
        double complex there =
            2 / figures->samples * conj(remains->harmonics[h]) * cexp(I * angle * h);
        value += creal(there);
        slope -= h * cimag(there);
        by_noise += 2.0 * h * h * mean_variance(figures, step);
    }
    return value + sign * (slope * slope - by_noise) / (2 * figures->amplitude);
}

/* Crest and trough, and how much of the noise is in them. */
static void add_harmonics(const struct remains *remains, const struct sine_fit *fit, double step,
                          struct sine_figures *figures)
{
    double angle = atan2(fit->quadrature, fit->in_phase);
    figures->harmonics = figures->odd = 1;
    for (int h = SECOND; h <= LAST; h++) {
        figures->harmonics += remains->shown[h];
        figures->odd += remains->shown[h] && h % 2 == 1;
    }
    figures->crest =
        figures->offset + figures->amplitude + added_at(remains, figures, step, 1, angle);
    figures->trough = figures->offset - figures->amplitude +
                      added_at(remains, figures, step, -1, angle + two_pi / 2);
}

bool sine_check(const struct series *series, double frequency, double step,
                struct sine_figures *figures)
{
    struct sine_fit fit;
    if (series->count < FEWEST_SAMPLES || sine_fit_four(series, frequency, &fit) != WAVE_NONE ||
        fit.amplitude < least_steps * step)
        return false;
    struct remains remains = remains_of(series, &fit);
    double n = (double)series->count;
    double per_period = 1 / (fit.frequency * series->interval);
    double random = fmax(0, remains.square / (n - FITTED) - step * step / 12);
    struct sine_figures seen = { .amplitude = fit.amplitude,
                                 .offset = fit.offset,
                                 .noise = fmax(sqrt(random), least_noise * fit.amplitude),
                                 .samples = n,
                                 .roundings = fmax(1, fmin(n, per_period) - 3) };
    if (!is_noise(&remains, &seen, step))
        return false;
    add_harmonics(&remains, &fit, step, &seen);
    *figures = seen;
    return true;
}
