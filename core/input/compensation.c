/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "compensation.h"

#include <math.h>
#include <string.h>

static const double two_pi = 6.283185307179586477;

enum { FEWEST = 32, GRID = 60, REFINEMENTS = 60 };

static const char *const names[] = {
    [COMPENSATION_UNDER] = "under-compensated",
    [COMPENSATION_RIGHT] = "compensated",
    [COMPENSATION_OVER] = "over-compensated",
};

const char *compensation_name(enum compensation_kind kind)
{
    return names[kind];
}

bool compensation_from_name(const char *name, enum compensation_kind *kind)
{
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (strcmp(names[i], name) == 0) {
            *kind = (enum compensation_kind)i;
            return true;
        }
    }
    return false;
}

/* A plateau, and the line v = level + size e, e = exp(-t / tau), that fits it best. */
struct fit {
    const double *volts;
    size_t count;
    double interval;
    double level;
    double size;
    double size_standard;
    double residual; /* sum of squares */
};

/* Linear least squares for a given time constant. */
static void fit_line(struct fit *fit, double tau)
{
    double n = (double)fit->count, se = 0, sv = 0, see = 0, sev = 0;
    for (size_t i = 0; i < fit->count; i++) {
        double e = exp(-(double)i * fit->interval / tau);
        se += e;
        sv += fit->volts[i];
        see += e * e;
        sev += e * fit->volts[i];
    }
    double spread = see - se * se / n;
    fit->size = (sev - se * sv / n) / spread;
    fit->level = (sv - fit->size * se) / n;
    fit->residual = 0;
    for (size_t i = 0; i < fit->count; i++) {
        double e = exp(-(double)i * fit->interval / tau);
        double rest = fit->volts[i] - fit->level - fit->size * e;
        fit->residual += rest * rest;
    }
    fit->size_standard = sqrt(fit->residual / (n - 3) / spread);
}

static double residual_at(struct fit *fit, double log_tau)
{
    fit_line(fit, exp(log_tau));
    return fit->residual;
}

/*
 * The time constant with the smallest residual: a coarse search from a few
 * samples to the plateau's length, then a golden section about the best.
 */
static double best_tau(struct fit *fit)
{
    const double golden = 0.6180339887498949;
    double low = log(2 * fit->interval);
    double high = log((double)fit->count * fit->interval);
    double step = (high - low) / GRID, best = low, smallest = INFINITY;
    for (int i = 0; i <= GRID; i++) {
        double residual = residual_at(fit, low + i * step);
        if (residual < smallest) {
            smallest = residual;
            best = low + i * step;
        }
    }
    double a = best - step, b = best + step;
    for (int i = 0; i < REFINEMENTS; i++) {
        double c = b - golden * (b - a), d = a + golden * (b - a);
        if (residual_at(fit, c) < residual_at(fit, d))
            b = d;
        else
            a = c;
    }
    return exp((a + b) / 2);
}

static bool usable(const double *volts, size_t count, double interval, double before)
{
    if (count < FEWEST || !(interval > 0) || !isfinite(interval) || !isfinite(before))
        return false;
    for (size_t i = 0; i < count; i++)
        if (!isfinite(volts[i]))
            return false;
    return true;
}

/*
 * In the steady state each half-period ends with size e^(-T/2tau) left of its
 * decay, on either side of the middle. So the full step is level - left - before,
 * and size (1 + e^(-T/2tau)) is m - 1 of it (own derivation, from v(t)
 * in the header).
 */
bool compensation_judge(const double *volts, size_t count, double interval, double before,
                        double lead, double limit, struct compensation *compensation,
                        struct failure *failure)
{
    if (!usable(volts, count, interval, before))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "a plateau of 32 samples or more",
                           "%zu samples cannot be used", count);
    struct fit fit = { .volts = volts, .count = count, .interval = interval };
    double tau = best_tau(&fit);
    fit_line(&fit, tau);
    double at_edge = exp(lead / tau);
    double left = fit.size * exp(-(double)count * interval / tau);
    double step = fit.level - left - before;
    double noise = sqrt(fit.residual / (double)count);
    if (!(fabs(step) > 10 * noise) || !isfinite(fit.size_standard))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "an edge of a square wave",
                           "a step of %g with noise of %g", step, noise);
    double ratio = 1 + (fit.size * at_edge + left) / step;
    enum compensation_kind kind = fabs(ratio - 1) <= limit ? COMPENSATION_RIGHT
                                  : ratio < 1              ? COMPENSATION_UNDER
                                                           : COMPENSATION_OVER;
    *compensation = (struct compensation) { kind, ratio, at_edge * fit.size_standard / fabs(step),
                                            kind == COMPENSATION_RIGHT ? NAN : tau };
    return true;
}

/* The index from `from` on at which the record is on the other side of `middle` than before it. */
static size_t crossing(const double *volts, size_t count, double middle, size_t from)
{
    size_t i = from;
    while (i < count && (volts[i] > middle) == (volts[i - 1] > middle))
        i++;
    return i;
}

static double mean_before(const double *volts, size_t edge, size_t since)
{
    size_t samples = (edge - since) / 50 + 1;
    double sum = 0;
    for (size_t i = edge - 1 - samples; i < edge - 1; i++)
        sum += volts[i];
    return sum / (double)samples;
}

bool compensation_plateau(const double *volts, size_t count, struct plateau *plateau)
{
    double low = INFINITY, high = -INFINITY;
    bool found = false;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, volts[i]);
        high = fmax(high, volts[i]);
    }
    double middle = (low + high) / 2;
    size_t since = crossing(volts, count, middle, 1);
    size_t edge = crossing(volts, count, middle, since + 1);
    while (edge < count) {
        size_t next = crossing(volts, count, middle, edge + 1);
        if (next < count && next - edge >= FEWEST + 4 && edge - since >= 4 &&
            (!found || next - edge - 3 > plateau->count)) {
            double part = (middle - volts[edge - 1]) / (volts[edge] - volts[edge - 1]);
            *plateau = (struct plateau) { edge + 1, next - edge - 3, 2 - part,
                                          mean_before(volts, edge, since) };
            found = true;
        }
        since = edge;
        edge = next;
    }
    return found;
}

double compensation_error(const struct compensation *compensation, double frequency)
{
    if (isnan(compensation->tau))
        return 0;
    double x = two_pi * frequency * compensation->tau;
    return hypot(1, compensation->ratio * x) / hypot(1, x) - 1;
}
