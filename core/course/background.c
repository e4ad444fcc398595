/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "background.h"

#include <math.h>
#include <string.h>

enum { STATES = 4 };

/* How probable each kind is before anything is known; see shapes.c. */
static const double priors[BACKGROUND_KINDS] = { 0.45, 0.02, 0.16, 0.37 };

/* Variances of what wanders over that of white noise, and time constants, that are tried. */
static const double walks[] = { 3e-4, 3e-3, 0.02, 0.1, 0.5, 3, 30, 1e3 };
static const double flickers[] = { 0.03, 0.1, 0.3, 1, 3, 10, 1e3 };
static const double shares[] = { 0.1, 0.3, 1, 4, 100 };
static const double constants[] = { 0.01, 0.03, 0.1, 0.3 };

/* Time constants of 1/f noise, from below a place to beyond the course. */
static const double flicker_constants[STATES] = { 0.007, 0.04, 0.24, 1.4 };

enum {
    WALKS = sizeof walks / sizeof *walks,
    FLICKERS = sizeof flickers / sizeof *flickers,
    SHARES = sizeof shares / sizeof *shares,
    CONSTANTS = sizeof constants / sizeof *constants
};

void background_list(struct background list[BACKGROUNDS])
{
    size_t n = 0;
    list[n++] = (struct background) { .kind = BACKGROUND_WHITE, .prior = priors[BACKGROUND_WHITE] };
    for (size_t i = 0; i < WALKS; i++)
        list[n++] =
            (struct background) { BACKGROUND_WALK, walks[i], 0, priors[BACKGROUND_WALK] / WALKS };
    for (size_t i = 0; i < FLICKERS; i++)
        list[n++] = (struct background) { BACKGROUND_FLICKER, flickers[i], 0,
                                          priors[BACKGROUND_FLICKER] / FLICKERS };
    double prior = priors[BACKGROUND_AUTOREGRESSIVE] / (SHARES * CONSTANTS);
    for (size_t i = 0; i < SHARES; i++)
        for (size_t k = 0; k < CONSTANTS; k++)
            list[n++] =
                (struct background) { BACKGROUND_AUTOREGRESSIVE, shares[i], constants[k], prior };
    _Static_assert(1 + WALKS + FLICKERS + SHARES * CONSTANTS == BACKGROUNDS, "one place for each");
}

/* What is known of the states, and what the filter expects of each column. */
struct filter {
    size_t states;
    double constant[STATES];
    double variance[STATES]; /* stationary; of a random walk its growth a unit of time */
    double covariance[STATES][STATES];
    double expected[STATES][BACKGROUND_COLUMNS];
    double mean; /* of a random walk: variance of a place's mean, from where the place began */
    double
        common; /* and its covariance with the step over the place; both over the step's variance */
};

/*
 * A place's mean of a walk is where the walk was when the place began and a
 * mean of partial sums of its steps; the step to the next place has these
 * steps in common with it. With k values a place that mean has the variance
 * (k + 1)(2 k + 1) / 6 k^2 and the covariance (k + 1) / 2 k, over that of the whole step (own
 * derivation, from the sums of integers and of their squares). State 0
 * is where the place began, state 1 the mean from there.
 */
static void begin_walk(struct filter *filter, const struct background *background,
                       const struct places *places)
{
    double k = (double)places->size;
    filter->states = 2;
    filter->variance[0] = background->share * (double)(places->count - 1);
    filter->mean = (k + 1) * (2 * k + 1) / (6 * k * k);
    filter->common = (k + 1) / (2 * k);
    filter->covariance[1][1] = background->share * filter->mean;
}

static void walk_on(struct filter *filter, double by, size_t columns)
{
    double(*covariance)[STATES] = filter->covariance;
    double step = filter->variance[0] * by, told = filter->common / filter->mean;
    for (size_t c = 0; c < columns; c++) {
        filter->expected[0][c] += told * filter->expected[1][c];
        filter->expected[1][c] = 0;
    }
    covariance[0][0] += 2 * told * covariance[0][1] + told * told * covariance[1][1] +
                        step * (1 - told * filter->common);
    covariance[0][1] = covariance[1][0] = 0;
    covariance[1][1] = step * filter->mean;
}

static void begin(struct filter *filter, const struct background *background,
                  const struct places *places)
{
    memset(filter, 0, sizeof *filter);
    switch (background->kind) {
    case BACKGROUND_WHITE:
        break;
    case BACKGROUND_AUTOREGRESSIVE:
        filter->states = 1;
        filter->constant[0] = background->constant;
        filter->variance[0] = background->share;
        break;
    case BACKGROUND_FLICKER:
        filter->states = STATES;
        for (size_t i = 0; i < STATES; i++) {
            filter->constant[i] = flicker_constants[i];
            filter->variance[i] = background->share / STATES;
        }
        break;
    case BACKGROUND_WALK:
        begin_walk(filter, background, places);
        return;
    }
    for (size_t i = 0; i < filter->states; i++)
        filter->covariance[i][i] = filter->variance[i];
}

static void go_on(struct filter *filter, double by, size_t columns)
{
    double kept[STATES];
    for (size_t a = 0; a < filter->states; a++) {
        kept[a] = exp(-by / filter->constant[a]);
        for (size_t c = 0; c < columns; c++)
            filter->expected[a][c] *= kept[a];
    }
    for (size_t a = 0; a < filter->states; a++) {
        for (size_t b = 0; b < filter->states; b++)
            filter->covariance[a][b] *= kept[a] * kept[b];
        filter->covariance[a][a] += filter->variance[a] * (1 - kept[a] * kept[a]);
    }
}

/* Takes in a row; `residual` becomes what was not expected, in units of its own deviation. */
static double take(struct filter *filter, const double *row, size_t columns, double white,
                   double *residual)
{
    double gain[STATES] = { 0 }, variance = white;
    for (size_t a = 0; a < filter->states; a++) {
        for (size_t b = 0; b < filter->states; b++)
            gain[a] += filter->covariance[a][b];
        variance += gain[a];
    }
    double scale = 1 / sqrt(variance);
    for (size_t c = 0; c < columns; c++) {
        double off = row[c];
        for (size_t a = 0; a < filter->states; a++)
            off -= filter->expected[a][c];
        for (size_t a = 0; a < filter->states; a++)
            filter->expected[a][c] += gain[a] / variance * off;
        residual[c] = off * scale;
    }
    for (size_t a = 0; a < filter->states; a++)
        for (size_t b = 0; b < filter->states; b++)
            filter->covariance[a][b] -= gain[a] * gain[b] / variance;
    return log(variance);
}

double background_filter(const struct background *background, const struct places *places,
                         const double *column, size_t columns, double *normal)
{
    struct filter filter;
    double residual[BACKGROUND_COLUMNS], determinant = 0;
    begin(&filter, background, places);
    memset(normal, 0, columns * columns * sizeof *normal);
    for (size_t i = 0; i < places->count; i++) {
        double by = i > 0 ? places->time[i] - places->time[i - 1] : 0;
        if (i > 0 && background->kind == BACKGROUND_WALK)
            walk_on(&filter, by, columns);
        else if (i > 0)
            go_on(&filter, by, columns);
        determinant +=
            take(&filter, column + i * columns, columns, 1 / places->weight[i], residual);
        for (size_t a = 0; a < columns; a++)
            for (size_t b = 0; b <= a; b++)
                normal[a * columns + b] += residual[a] * residual[b];
    }
    return determinant;
}

const char *background_name(enum background_kind kind)
{
    static const char *const names[] = { "white noise", "autoregressive", "1/f noise",
                                         "random walk" };
    return names[kind];
}
