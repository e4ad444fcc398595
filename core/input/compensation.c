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
    [COMPENSATION_UNDECIDED] = "not decidable",
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

/* What scopes have at a divider's output: input, cable and trimmer. */
static const double least_capacitance = 50e-12, most_capacitance = 300e-12;

struct sought compensation_sought(double tip, double load, double step)
{
    double low = isnan(load) ? 1e6 : load;
    double parallel = tip > low ? low * (tip - low) / tip : low;
    return (struct sought) { parallel * least_capacitance, parallel * most_capacitance, step };
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
    double step;     /* of the converter */
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
    /* Noise averages; what hides within one step is the same all along the plateau. */
    double hidden = fit->step / sqrt(12) / -expm1(-n * fit->interval / tau);
    fit->size_standard = hypot(sqrt(fit->residual / (n - 3) / spread), hidden);
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

/* What a decay of one time constant makes of the plateau. */
struct decay {
    double ratio;
    double standard;
    double step;
};

/*
 * In the steady state each half-period ends with size e^(-T/2tau) left of its
 * decay, on either side of the middle. So the full step is level - left - before,
 * and size (1 + e^(-T/2tau)) is m - 1 of it (own derivation, from that steady state).
 */
static struct decay decay_of(struct fit *fit, double tau, double before, double lead)
{
    fit_line(fit, tau);
    double at_edge = exp(lead / tau);
    double left = fit->size * exp(-(double)fit->count * fit->interval / tau);
    double step = fit->level - left - before;
    return (struct decay) { 1 + (fit->size * at_edge + left) / step,
                            at_edge * fit->size_standard / fabs(step), step };
}

/*
 * Whether a decay beyond the limit would have been seen, whatever its time constant: what each
 * leaves room for, twice its uncertainty on top of what was seen, stays within the limit.
 */
static bool would_show(struct fit *fit, double before, double lead, double limit,
                       const struct sought *sought)
{
    double step = log(sought->slowest / sought->fastest) / GRID;
    for (int i = 0; i <= GRID; i++) {
        struct decay decay = decay_of(fit, sought->fastest * exp(i * step), before, lead);
        if (!(fabs(decay.ratio - 1) + 2 * decay.standard <= limit))
            return false;
    }
    return true;
}

/* So much of the step may be left of the plateau that no decay explains. */
static const double most_left = 0.02;

/* A decay is known by its end: so many of its time constants fit into the plateau at least. */
static const double constants_in_plateau = 3;

static void decide(struct fit *fit, double before, double lead, double limit,
                   const struct sought *sought, struct compensation *found)
{
    double plateau = (double)fit->count * fit->interval;
    bool seen = 2 * fit->interval + lead <= sought->fastest;
    if (seen && would_show(fit, before, lead, limit, sought)) {
        found->kind = COMPENSATION_RIGHT;
        return;
    }
    struct decay decay = decay_of(fit, found->tau, before, lead);
    double left = sqrt(fit->residual / (double)fit->count) / fabs(decay.step);
    found->kind = COMPENSATION_UNDECIDED;
    if (!(left <= most_left))
        found->lack = "the plateau is not that of a square wave through a divider";
    else if (!seen && !(found->tau >= 2 * fit->interval + lead))
        found->lack = "the samples are too far apart to show a decay: look at fewer periods";
    else if (!(fabs(decay.ratio - 1) > limit + 2 * decay.standard))
        found->lack =
            "a probe that is not compensated would not show in this record: a square wave "
            "of 1 kHz, high on the screen, is what shows it";
    else if (!(found->tau * constants_in_plateau <= plateau))
        found->lack =
            "the next edge comes before the decay has shown its end: the square wave is too "
            "fast";
    else
        found->kind = decay.ratio < 1 ? COMPENSATION_UNDER : COMPENSATION_OVER;
}

bool compensation_judge(const double *volts, size_t count, double interval, double before,
                        double lead, double limit, const struct sought *sought,
                        struct compensation *compensation, struct failure *failure)
{
    if (!usable(volts, count, interval, before) ||
        !(sought->step >= 0 && sought->fastest > 0 && sought->slowest > sought->fastest))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "a plateau of 32 samples or more",
                           "%zu samples cannot be used", count);
    struct fit fit = { .volts = volts, .count = count, .interval = interval, .step = sought->step };
    double tau = best_tau(&fit);
    struct decay decay = decay_of(&fit, tau, before, lead);
    double noise = sqrt(fit.residual / (double)count);
    if (!(fabs(decay.step) > 10 * noise) || !isfinite(decay.standard))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "an edge of a square wave",
                           "a step of %g with noise of %g", decay.step, noise);
    struct compensation found = { COMPENSATION_UNDECIDED, decay.ratio, decay.standard, tau, NULL };
    decide(&fit, before, lead, limit, sought, &found);
    if (found.kind == COMPENSATION_RIGHT)
        found.tau = NAN;
    *compensation = found;
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
                                          mean_before(volts, edge, since),
                                          (double)(next - edge) / (double)(edge - since) };
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
