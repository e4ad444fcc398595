/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "harmonics.h"

#include "sine_fit.h"

#include <math.h>

enum { MOST_SAMPLES = 1 << 17, COLUMNS = HARMONICS_MOST + 1, SWEEPS = 60 };

static const double two_pi = 6.2831853071795865;
static const double dithers = 0.4; /* noise in steps that makes roundings independent */
static const double reach = 2.2;   /* of an interval, in standard deviations */
static const double beyond =
    1 + 1e-6; /* an end of an interval, so that rounding leaves it inside */
static const double fewest_periods = 2, fewest_per_period = 8;

/* Unknowns of one symmetry about the middle of the record: cosines with the mean, or sines. */
struct half {
    double right[COLUMNS];
    double found[COLUMNS];
};

struct fit {
    const struct series *series;
    double omega; /* radians a sample */
    size_t orders;
    double square; /* of what is left, mean over the samples; stored units */
    struct half even;
    struct half odd; /* [0] is not used */
};

/* Sum of cos(theta t) over the samples, t from the middle of them (Dirichlet's kernel). */
static double kernel(const struct fit *fit, double theta)
{
    double n = (double)fit->series->count, below = sin(theta / 2);
    return fabs(below) < 1e-12 ? n : sin(n * theta / 2) / below;
}

/* Sum of the product of two columns of one symmetry. */
static double product(const struct fit *fit, size_t a, size_t b, double sign)
{
    double least = (double)(a > b ? a - b : b - a), most = (double)(a + b);
    return (kernel(fit, least * fit->omega) + sign * kernel(fit, most * fit->omega)) / 2;
}

static void project(struct fit *fit, double base)
{
    double middle = (double)(fit->series->count - 1) / 2;
    for (size_t order = 0; order <= fit->orders; order++) {
        double turn = fit->omega * (double)order, even = 0, odd = 0;
        double real = cos(-turn * middle), imaginary = sin(-turn * middle);
        double step_real = cos(turn), step_imaginary = sin(turn);
        for (size_t i = 0; i < fit->series->count; i++) {
            double x = series_at(fit->series, i) - base, next = real * step_real;
            even += x * real;
            odd += x * imaginary;
            next -= imaginary * step_imaginary;
            imaginary = imaginary * step_real + real * step_imaginary;
            real = next;
        }
        fit->even.right[order] = even;
        fit->odd.right[order] = odd;
    }
}

/* Gauss-Seidel: columns over whole periods are as good as orthogonal. */
static void solve(const struct fit *fit, struct half *half, size_t first, double sign)
{
    for (int sweep = 0; sweep < SWEEPS; sweep++) {
        double moved = 0, size = 0;
        for (size_t a = first; a <= fit->orders; a++) {
            double left = half->right[a];
            for (size_t b = first; b <= fit->orders; b++)
                left -= b == a ? 0 : product(fit, a, b, sign) * half->found[b];
            double found = left / product(fit, a, a, sign);
            moved += fabs(found - half->found[a]);
            size += fabs(found);
            half->found[a] = found;
        }
        if (moved <= 1e-13 * size)
            return;
    }
}

static void fit_all(struct fit *fit, double base)
{
    double n = (double)fit->series->count;
    struct series_sums sums = series_sum(fit->series, 0, fit->series->count, base, base);
    project(fit, base);
    solve(fit, &fit->even, 0, 1);
    solve(fit, &fit->odd, 1, -1);
    fit->square = sums.square / n;
    for (size_t order = 0; order <= fit->orders; order++)
        fit->square -= (fit->even.found[order] * fit->even.right[order] +
                        fit->odd.found[order] * fit->odd.right[order]) /
                       n;
    fit->square = fmax(fit->square, 0) * n / (n - 2 * (double)fit->orders - 1);
}

static double power_of(const struct fit *fit, size_t order)
{
    return fit->even.found[order] * fit->even.found[order] +
           fit->odd.found[order] * fit->odd.found[order];
}

/* What noise and converter do to each coefficient. */
struct floor_of {
    double variance;   /* of one */
    double subtracted; /* the part of it that is there for sure */
};

static struct floor_of floor_for(const struct fit *fit, double step)
{
    double n = (double)fit->series->count, rounding = step * step / 12;
    double random = fmax(fit->square - rounding, 0);
    if (random >= dithers * dithers * step * step)
        return (struct floor_of) { 2 * fit->square / n, 2 * fit->square / n };
    double levels =
        2 * sqrt(power_of(fit, 1)) / step; /* a converter makes no more different errors */
    double one_period = fmin(fmin(n, two_pi / fit->omega), levels);
    return (struct floor_of) { 2 * random / n + 2 * rounding / one_period, 2 * random / n };
}

static struct harmonics conclude(const struct fit *fit, double step)
{
    struct floor_of beneath = floor_for(fit, step);
    double power = 0, count = (double)(fit->orders - 1);
    for (size_t order = 2; order <= fit->orders; order++)
        power += power_of(fit, order);
    double least = fmax(power - 2 * count * beneath.variance, 0);
    double most = fmax(power - 2 * count * beneath.subtracted, 0);
    double spread =
        reach * sqrt(4 * most * beneath.variance + 4 * count * beneath.variance * beneath.variance);
    double low = sqrt(fmax(least - spread, 0)), high = sqrt(most + spread);
    double fundamental = sqrt(power_of(fit, 1));
    return (struct harmonics) { .fundamental = fit->series->scale * fundamental,
                                .orders = fit->orders,
                                .thd = (high + low) / 2 / fundamental,
                                .standard = low > 0 ? (high - low) / 4 / fundamental : 0,
                                .doubt = low > 0 ? 0 : high / 2 / fundamental * beyond };
}

/* The longest stretch from the first sample on that is a whole number of periods, to a sample. */
static struct series whole_periods(const struct series *series, double turns)
{
    struct series part = *series;
    if (part.count > MOST_SAMPLES)
        part.count = MOST_SAMPLES;
    double periods = floor(turns * (double)part.count);
    part.count = (size_t)fmin(rint(periods / turns), (double)part.count);
    return part;
}

enum wave_reason harmonics_measure(const struct series *series, double frequency, double step,
                                   struct harmonics *harmonics)
{
    struct sine_fit sine;
    double turns = frequency * series->interval;
    if (!(turns * (double)series->count >= fewest_periods))
        return WAVE_FEW_PERIODS;
    if (!(turns * fewest_per_period <= 1))
        return WAVE_FEW_SAMPLES;
    const struct series part = whole_periods(series, turns);
    if (sine_fit_four(&part, frequency, &sine) != WAVE_NONE)
        return WAVE_NO_FIT;
    turns = sine.frequency * series->interval;
    struct fit fit = { .series = &part, .omega = two_pi * turns };
    fit.orders = (size_t)fmin(HARMONICS_MOST, ceil(0.5 / turns) - 1);
    if (fit.orders < 2 || part.count < 4 * fit.orders)
        return WAVE_FEW_SAMPLES;
    fit_all(&fit, rint((sine.offset - series->offset) / series->scale));
    if (!(power_of(&fit, 1) > 2 * fit.square))
        return WAVE_NOISY;
    *harmonics = conclude(&fit, step / series->scale);
    return WAVE_NONE;
}
