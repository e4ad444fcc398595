/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sine_fit.h"

#include "core/basics/sum.h"

#include <math.h>

enum { FEWEST_SAMPLES = 5, MOST_ITERATIONS = 30, MOST_COLUMNS = 4, BLOCK = 256 };

static const double two_pi = 6.2831853071795865;
static const double at_rest = 1e-11;

/*
 * Time runs from -1 to 1 over the record, so that the columns are of like size
 * and the one of the frequency is nearly orthogonal to the others.
 */
struct model {
    double middle;                       /* sample number of time zero */
    double half;                         /* samples to one unit of time */
    double omega;                        /* radians per unit of time */
    double base;                         /* a level near the mean, taken out of all samples */
    double in_phase, quadrature, offset; /* about the middle and the base; stored units */
};

/* Normal equations, upper triangle, and the right side in the last column. */
struct equations {
    size_t columns;
    struct sum matrix[MOST_COLUMNS][MOST_COLUMNS + 1];
};

/* The columns at one sample; cosine and sine of it given. */
static void fill_row(const struct model *model, double time, double cosine, double sine,
                     double row[MOST_COLUMNS])
{
    row[0] = cosine;
    row[1] = sine;
    row[2] = 1.0;
    row[3] = time * (model->quadrature * cosine - model->in_phase * sine);
}

/* A phasor stepped by rotation, set anew for each block, so that rounding does not gather. */
struct phasor {
    double cosine, sine, step_cosine, step_sine;
};

static struct phasor phasor_at(const struct model *model, size_t i)
{
    double angle = model->omega * ((double)i - model->middle) / model->half;
    double step = model->omega / model->half;
    struct phasor phasor = { cos(angle), sin(angle), cos(step), sin(step) };
    return phasor;
}

static void phasor_turn(struct phasor *phasor)
{
    double cosine = phasor->cosine * phasor->step_cosine - phasor->sine * phasor->step_sine;
    phasor->sine = phasor->sine * phasor->step_cosine + phasor->cosine * phasor->step_sine;
    phasor->cosine = cosine;
}

static void add_block(const struct series *series, const struct model *model, size_t first,
                      size_t last, struct equations *equations)
{
    double block[MOST_COLUMNS][MOST_COLUMNS + 1] = { { 0.0 } };
    size_t n = equations->columns;
    struct phasor phasor = phasor_at(model, first);
    for (size_t i = first; i < last; i++) {
        double row[MOST_COLUMNS];
        double y = series_at(series, i) - model->base;
        fill_row(model, ((double)i - model->middle) / model->half, phasor.cosine, phasor.sine, row);
        for (size_t j = 0; j < n; j++) {
            for (size_t k = j; k < n; k++)
                block[j][k] += row[j] * row[k];
            block[j][n] += row[j] * y;
        }
        phasor_turn(&phasor);
    }
    for (size_t j = 0; j < n; j++)
        for (size_t k = j; k <= n; k++)
            sum_add(&equations->matrix[j][k], block[j][k]);
}

/* Gaussian elimination of a symmetric system, with pivots down the diagonal. */
static bool solve(const struct equations *equations, double x[MOST_COLUMNS])
{
    size_t n = equations->columns;
    double a[MOST_COLUMNS][MOST_COLUMNS + 1];
    for (size_t j = 0; j < n; j++)
        for (size_t k = 0; k <= n; k++)
            a[j][k] = sum_value(&equations->matrix[k < j ? k : j][k < j ? j : k]);
    for (size_t j = 0; j < n; j++) {
        double least = 1e-13 * sum_value(&equations->matrix[j][j]);
        if (!(a[j][j] > least) || !isfinite(a[j][j]))
            return false;
        for (size_t i = j + 1; i < n; i++) {
            double share = a[i][j] / a[j][j];
            for (size_t k = j; k <= n; k++)
                a[i][k] -= share * a[j][k];
        }
    }
    for (size_t j = n; j-- > 0;) {
        x[j] = a[j][n];
        for (size_t k = j + 1; k < n; k++)
            x[j] -= a[j][k] * x[k];
        x[j] /= a[j][j];
    }
    return true;
}

/* One linear least-squares problem of three or four columns. */
static bool solve_for(const struct series *series, const struct model *model, size_t columns,
                      double x[MOST_COLUMNS])
{
    struct equations equations = { .columns = columns };
    for (size_t i = 0; i < series->count; i += BLOCK) {
        size_t last = series->count - i < BLOCK ? series->count : i + BLOCK;
        add_block(series, model, i, last, &equations);
    }
    return solve(&equations, x);
}

static double residual_of(const struct series *series, const struct model *model)
{
    struct sum sum = { 0.0, 0.0 };
    struct phasor phasor = { 0 };
    for (size_t i = 0; i < series->count; i++) {
        if (i % BLOCK == 0)
            phasor = phasor_at(model, i);
        double left = series_at(series, i) - model->base - model->offset -
                      model->in_phase * phasor.cosine - model->quadrature * phasor.sine;
        sum_add(&sum, left * left);
        phasor_turn(&phasor);
    }
    return sqrt(sum_value(&sum) / (double)series->count);
}

static double per_unit(const struct series *series, const struct model *model)
{
    return two_pi * series->interval * model->half;
}

static struct model model_for(const struct series *series, double frequency)
{
    struct model model = { .middle = ((double)series->count - 1.0) / 2.0 };
    model.half = model.middle;
    model.omega = frequency * per_unit(series, &model);
    double minimum, maximum;
    if (series_extremes(series, 0, series->count, &minimum, &maximum))
        model.base = minimum + (maximum - minimum) / 2.0;
    else
        model.base = NAN;
    return model;
}

/* The other direction of publish(): the fit's own figures, turned to the middle of the record. */
static void resume(const struct series *series, const struct sine_fit *fit, struct model *model)
{
    double turn = -model->omega * model->middle / model->half;
    model->in_phase = (fit->in_phase * cos(turn) - fit->quadrature * sin(turn)) / series->scale;
    model->quadrature = (fit->in_phase * sin(turn) + fit->quadrature * cos(turn)) / series->scale;
}

static void publish(const struct series *series, const struct model *model, bool four,
                    struct sine_fit *fit)
{
    double turn = model->omega * model->middle / model->half;
    double n = (double)series->count;
    struct sine_fit seen = {
        .frequency = model->omega / per_unit(series, model),
        .in_phase = series->scale * (model->in_phase * cos(turn) - model->quadrature * sin(turn)),
        .quadrature = series->scale * (model->in_phase * sin(turn) + model->quadrature * cos(turn)),
        .offset = series_value(series, model->base + model->offset),
        .amplitude = series->scale * hypot(model->in_phase, model->quadrature),
        .residual = series->scale * residual_of(series, model),
        .frequency_uncertainty = NAN,
    };
    seen.phase = atan2(-seen.quadrature, seen.in_phase);
    seen.amplitude_uncertainty = seen.residual * sqrt(2.0 / n);
    seen.offset_uncertainty = seen.residual / sqrt(n);
    if (four) {
        /* What hides within a step leaves nothing over where all samples happen to lie on steps. */
        double least = series->scale * series->step / sqrt(12.0);
        seen.frequency_uncertainty = sqrt(24.0 / (n * (n * n - 1.0))) * fmax(seen.residual, least) /
                                     seen.amplitude / (two_pi * series->interval);
    }
    *fit = seen;
}

/* Whether the record can show a sine of this frequency. */
static enum wave_reason showable(const struct series *series, double frequency)
{
    double per_record = frequency * series->interval * (double)series->count;
    if (!(per_record >= 1.0))
        return WAVE_FEW_PERIODS;
    return frequency * series->interval < 0.5 ? WAVE_NONE : WAVE_FEW_SAMPLES;
}

static bool plausible(const struct series *series)
{
    return series->count >= FEWEST_SAMPLES && series->interval > 0.0 && series->scale > 0.0;
}

enum wave_reason sine_fit_three(const struct series *series, double frequency, struct sine_fit *fit)
{
    if (!plausible(series))
        return WAVE_BAD_SAMPLES;
    enum wave_reason reason = showable(series, frequency);
    if (reason != WAVE_NONE)
        return reason;
    struct model model = model_for(series, frequency);
    double x[MOST_COLUMNS];
    if (!isfinite(model.base) || !solve_for(series, &model, 3, x))
        return WAVE_BAD_SAMPLES;
    model.in_phase = x[0];
    model.quadrature = x[1];
    model.offset = x[2];
    publish(series, &model, false, fit);
    return WAVE_NONE;
}

/* The linear problem in the model's frequency; its solution and the corrected frequency. */
static bool correct(const struct series *series, struct model *model)
{
    double x[MOST_COLUMNS];
    if (!solve_for(series, model, 4, x))
        return false;
    model->in_phase = x[0];
    model->quadrature = x[1];
    model->offset = x[2];
    model->omega += x[3];
    return showable(series, model->omega / per_unit(series, model)) == WAVE_NONE;
}

enum wave_reason sine_fit_step(const struct series *series, struct sine_fit *fit)
{
    if (!plausible(series))
        return WAVE_BAD_SAMPLES;
    enum wave_reason reason = showable(series, fit->frequency);
    if (reason != WAVE_NONE)
        return reason;
    struct model model = model_for(series, fit->frequency);
    if (!isfinite(model.base))
        return WAVE_BAD_SAMPLES;
    resume(series, fit, &model);
    if (!correct(series, &model))
        return WAVE_NO_FIT;
    publish(series, &model, true, fit);
    return WAVE_NONE;
}

enum wave_reason sine_fit_four(const struct series *series, double start, struct sine_fit *fit)
{
    struct sine_fit seen;
    enum wave_reason reason = sine_fit_three(series, start, &seen);
    if (reason != WAVE_NONE)
        return reason;
    struct model model = model_for(series, start);
    resume(series, &seen, &model);
    double first = model.omega;
    for (int i = 0; i < MOST_ITERATIONS; i++) {
        double before = model.omega;
        /* Omega runs over half the record, so pi / 2 is half a period over the whole. */
        if (!correct(series, &model) || fabs(model.omega - first) > two_pi / 4.0)
            return WAVE_NO_FIT;
        if (fabs(model.omega - before) <= at_rest * model.omega) {
            publish(series, &model, true, fit);
            return WAVE_NONE;
        }
    }
    return WAVE_NO_FIT;
}

double sine_fit_sinad(const struct sine_fit *fit)
{
    return 20.0 * log10(fit->amplitude / sqrt(2.0) / fit->residual);
}
