/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "history.h"

#include "excursions.h"
#include "noise.h"

#include <math.h>
#include <string.h>

const double history_sigmas = 6;

/* No step is sought nearer to an end than this: it could not be told from an excursion. */
enum { LEAST_LEVEL = 8 };

/* The values that count: without those of excursions. */
struct kept {
    size_t count;
    const double *time;
    const double *value;
};

/* What a model leaves over, and what it cost. */
struct model {
    double left; /* sum of squares */
    size_t at;   /* of its step; 0: none */
};

/* Sums about the means of a stretch of what was kept. */
struct moments {
    double n, time, value, time_squares, products, value_squares;
};

static struct moments moments_of(const struct kept *kept)
{
    struct moments m = { .n = (double)kept->count };
    for (size_t i = 0; i < kept->count; i++) {
        m.time += kept->time[i] / m.n;
        m.value += kept->value[i] / m.n;
    }
    for (size_t i = 0; i < kept->count; i++) {
        double t = kept->time[i] - m.time, y = kept->value[i] - m.value;
        m.time_squares += t * t;
        m.products += t * y;
        m.value_squares += y * y;
    }
    return m;
}

/*
 * The step that takes most from a model's sum of squares. With r the model's
 * residuals and s the unit step made orthogonal to the model, that is
 * (sum of r s)^2 / (sum of s^2); both follow from running sums, since the
 * residuals are orthogonal to the model already.
 */
static struct model best_step(const struct kept *kept, const struct moments *m, double slope,
                              bool line, double left)
{
    struct model best = { left, 0 };
    double residuals = 0, times = 0;
    for (size_t i = 0; i + LEAST_LEVEL < kept->count; i++) {
        double t = kept->time[i] - m->time;
        residuals += kept->value[i] - m->value - slope * t;
        times += t;
        double before = (double)(i + 1);
        double square = before * (m->n - before) / m->n;
        if (line)
            square -= times * times / m->time_squares;
        double gain = square > 0 ? residuals * residuals / square : 0;
        if (i + 1 >= LEAST_LEVEL && left - gain < best.left)
            best = (struct model) { left - gain, i + 1 };
    }
    return best;
}

/* Bayesian information criterion; where a step lies counts as a parameter too. */
static double criterion(const struct model *model, double n, double parameters, double floor)
{
    return n * log(fmax(model->left, floor) / n) + parameters * log(n);
}

/* The fit that was chosen: level, slope and step, with residuals to judge them by. */
struct fit {
    double slope, step;
    double slope_standard, step_standard;
};

/* Solves for slope and step together, about the means; `at` 0 leaves the step out. */
static struct fit fit_both(const struct kept *kept, const struct moments *m, bool line, size_t at,
                           double sigma)
{
    double times = 0, values = 0;
    for (size_t i = 0; i < at; i++) {
        times -= kept->time[i] - m->time;
        values -= kept->value[i] - m->value;
    }
    double before = (double)at;
    double squares = at ? before * (m->n - before) / m->n : 0;
    struct fit fit = { 0 };
    if (line && at) {
        double determinant = m->time_squares * squares - times * times;
        fit.slope = (m->products * squares - values * times) / determinant;
        fit.step = (values * m->time_squares - m->products * times) / determinant;
        fit.slope_standard = sigma * sqrt(squares / determinant);
        fit.step_standard = sigma * sqrt(m->time_squares / determinant);
    } else if (line) {
        fit.slope = m->products / m->time_squares;
        fit.slope_standard = sigma / sqrt(m->time_squares);
    } else if (at) {
        fit.step = values / squares;
        fit.step_standard = sigma / sqrt(squares);
    }
    return fit;
}

/*
 * Noise whose neighbours are alike says less than its number: the factor by
 * which it enlarges a standard uncertainty, from the lag-one correlation of
 * the residuals, sqrt((1 + r) / (1 - r)), not below 1.
 */
static double likeness(const struct kept *kept, const struct moments *m, const struct fit *fit,
                       size_t at, double *sigma)
{
    double before = (double)at / m->n; /* the mean of the unit step is 1 - before */
    double squares = 0, products = 0, last = 0;
    for (size_t i = 0; i < kept->count; i++) {
        double stepped = at ? (i >= at ? 1.0 : 0.0) - (1 - before) : 0;
        double r = kept->value[i] - m->value - fit->slope * (kept->time[i] - m->time) -
                   fit->step * stepped;
        squares += r * r;
        products += r * last;
        last = r;
    }
    *sigma = sqrt(squares / (m->n - 3));
    double r = squares > 0 ? fmin(0.99, fmax(0, products / squares)) : 0;
    return sqrt((1 + r) / (1 - r));
}

static bool stands_out(double figure, double standard)
{
    return fabs(figure) > history_sigmas * standard;
}

/* Fits one kind of model and keeps it in the finding if all that it claims stands out. */
static bool claim(const struct kept *kept, const struct moments *m, bool line, size_t at,
                  struct history_finding *finding)
{
    double sigma;
    struct fit fit = fit_both(kept, m, line, at, 1);
    double enlarged = likeness(kept, m, &fit, at, &sigma);
    double scale = enlarged * fmax(sigma, finding->noise);
    if ((line && !stands_out(fit.slope, fit.slope_standard * scale)) ||
        (at && !stands_out(fit.step, fit.step_standard * scale)))
        return false;
    finding->kind = line && at ? HISTORY_DRIFT_AND_STEP : line ? HISTORY_DRIFT : HISTORY_STEP;
    finding->slope = fit.slope;
    finding->slope_standard = fit.slope_standard * scale;
    finding->step = fit.step;
    finding->step_standard = fit.step_standard * scale;
    finding->step_at = at;
    return true;
}

/* Compares the models; leaves the finding steady where none stands out. */
static void compare(const struct kept *kept, struct history_finding *finding)
{
    struct moments m = moments_of(kept);
    if (!(m.time_squares > 0))
        return;
    double slope = m.products / m.time_squares;
    double floor = m.n * finding->noise * finding->noise / 4;
    const struct model line = { fmax(0, m.value_squares - slope * m.products), 0 };
    const struct model step = best_step(kept, &m, 0, false, m.value_squares);
    const struct model both = best_step(kept, &m, slope, true, line.left);
    finding->offers[0] = step.at;
    finding->offers[1] = both.at;
    const struct candidate {
        bool line;
        size_t at;
        double criterion;
    } candidates[] = {
        { true, 0, criterion(&line, m.n, 2, floor) },
        { false, step.at, criterion(&step, m.n, 3, floor) },
        { true, both.at, criterion(&both, m.n, 4, floor) },
    };
    bool tried[3] = { false, step.at == 0, both.at == 0 };
    for (;;) {
        size_t best = 3;
        for (size_t i = 0; i < 3; i++)
            if (!tried[i] && (best == 3 || candidates[i].criterion < candidates[best].criterion))
                best = i;
        if (best == 3 || claim(kept, &m, candidates[best].line, candidates[best].at, finding))
            return;
        tried[best] = true;
    }
}

static bool acceptable(const double *time, const double *value, size_t count, double quantum)
{
    if (count < HISTORY_FEWEST || !(quantum >= 0) || !isfinite(quantum))
        return false;
    for (size_t i = 0; i < count; i++)
        if (!isfinite(time[i]) || !isfinite(value[i]) || (i > 0 && time[i] < time[i - 1]))
            return false;
    return true;
}

/* Where the kept value number `at` stood in the whole run. */
static size_t place_of(const double *time, size_t count, double kept_time)
{
    size_t i = 0;
    while (i < count && time[i] < kept_time)
        i++;
    return i;
}

bool history_study(const double *time, const double *value, size_t count, double quantum,
                   double *scratch, struct history_finding *finding)
{
    if (!acceptable(time, value, count, quantum))
        return false;
    memset(finding, 0, sizeof *finding);
    finding->noise = noise_of_values(value, count, quantum, scratch);
    finding->kept =
        excursions_set_aside(time, value, count, finding->noise, scratch, &finding->excursions);
    const struct kept kept = { finding->kept, scratch, scratch + count };
    if (kept.count >= HISTORY_FEWEST)
        compare(&kept, finding);
    if (finding->step_at > 0)
        finding->step_at = place_of(time, count, kept.time[finding->step_at]);
    return true;
}

const char *history_kind_name(enum history_kind kind)
{
    static const char *const names[] = { "steady",         "drift",    "step",
                                         "drift and step", "settling", "settling and step" };
    return names[kind];
}
