/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "distribution.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

/* Beyond so many of its standard deviations a normal error counts for nothing. */
static const double normal_reach = 8.0;

/* Waves below this are not worth adding. */
static const double smallest_wave = 1e-10;

/* Characteristic function of one bounded law, x = half-width times wave number. */
static double bounded_wave(enum law law, double x)
{
    switch (law) {
    case LAW_TRIANGULAR: {
        double sinc = sin(x / 2.0) / (x / 2.0);
        return sinc * sinc;
    }
    case LAW_ARCSINE:
        return j0(x);
    case LAW_RECTANGULAR:
        break;
    }
    return sin(x) / x;
}

/* Half a period that holds the whole sum. */
static double reach_of(const struct parts *parts, double sigma)
{
    double reach = normal_reach * sigma;
    for (size_t i = 0; i < parts->count; i++)
        reach += parts->bounded[i].half_width;
    return reach;
}

/* With density (1 + 2 sum phi_n cos(n pi x / L)) / 2L, below(x) gains phi_n sin(...) / (n pi). */
void distribution_build(struct distribution *distribution, const struct parts *parts,
                        double standard)
{
    double sigma = hypot(sqrt(parts->variance), DISTRIBUTION_NORMAL * standard);
    distribution->reach = reach_of(parts, sigma);
    distribution->count = 0;
    double step = pi / distribution->reach;
    for (size_t n = 1; n <= DISTRIBUTION_MAX_WAVES; n++) {
        double number = (double)n * step;
        double wave = exp(-0.5 * sigma * number * sigma * number) / (pi * (double)n);
        if (wave < smallest_wave)
            break;
        for (size_t i = 0; i < parts->count; i++)
            wave *= bounded_wave(parts->bounded[i].law, parts->bounded[i].half_width * number);
        distribution->waves[distribution->count++] = wave;
    }
}

/* sin(n a) by sin((n + 1) a) = 2 cos(a) sin(n a) - sin((n - 1) a). */
double distribution_below(const struct distribution *distribution, double x)
{
    if (x <= -distribution->reach)
        return 0.0;
    if (x >= distribution->reach)
        return 1.0;
    double angle = pi * x / distribution->reach;
    double twice = 2.0 * cos(angle);
    double before = 0.0;
    double sine = sin(angle);
    double below = 0.5 + 0.5 * x / distribution->reach;
    for (size_t i = 0; i < distribution->count; i++) {
        below += distribution->waves[i] * sine;
        double next = twice * sine - before;
        before = sine;
        sine = next;
    }
    return below;
}
