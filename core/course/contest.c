/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "contest.h"

#include <float.h>
#include <math.h>
#include <string.h>

/* Pairs lighter than this share of the heaviest say nothing. */
static const double lightest = 1e-5;

/* How far a part of a course may move the places, in their own deviations; see weigh(). */
static const double widest = 1;

struct bout {
    struct background backgrounds[BACKGROUNDS];
    double determinant[BACKGROUNDS];
    double normal[BACKGROUNDS][SHAPE_COLUMNS * SHAPE_COLUMNS];
    double spread[SHAPE_COLUMNS]; /* standard deviation of each column over the places */
    double floor; /* sum of squares that is there at least, of the places' unit squared */
};

static bool fit_pair(const struct bout *bout, size_t background, const struct course_shape *shape,
                     struct least_squares *fit)
{
    if (!least_squares_fit(bout->normal[background], SHAPE_COLUMNS, shape->column, shape->count,
                           fit))
        return false;
    fit->left += bout->floor;
    return true;
}

/*
 * Logarithms of the weights of a shape on each background: the likelihood with
 * factors and deviation integrated out. The deviation has Jeffreys' prior, a
 * factor a flat one over as much as moves the places by `widest` (Box and
 * Tiao, Bayesian Inference in Statistical Analysis, 1973, 2.7; from memory):
 * what a wandering background explains needs no step and no settling.
 * Where a step lies counts as one of the places.
 */
static void weigh(const struct bout *bout, const struct course_shape *shape, size_t places,
                  double weights[BACKGROUNDS])
{
    double n = (double)places, freedom = n - (double)shape->count;
    double prior = log(shape->prior) - (shape->parameters - (double)shape->count) * log(n);
    for (size_t i = 1; i < shape->count; i++)
        prior -= log(widest / bout->spread[shape->column[i]]);
    for (size_t i = 0; i < BACKGROUNDS; i++) {
        struct least_squares fit;
        weights[i] = -INFINITY;
        if (!fit_pair(bout, i, shape, &fit))
            continue;
        weights[i] = prior + log(bout->backgrounds[i].prior) + lgamma(freedom / 2) -
                     (freedom * log(M_PI * fit.left) + bout->determinant[i] + fit.determinant) / 2;
    }
}

/* Keeps a pair among the heaviest; `weight` is a logarithm until all are in. */
static void keep(struct contest *contest, const struct course_shape *shape,
                 enum background_kind kind, const struct least_squares *fit, double weight)
{
    size_t at = 0;
    if (contest->count < CONTESTANTS) {
        at = contest->count++;
    } else {
        for (size_t i = 1; i < CONTESTANTS; i++)
            at = contest->list[i].weight < contest->list[at].weight ? i : at;
        if (contest->list[at].weight >= weight)
            return;
    }
    double freedom = (double)contest->places.count - (double)shape->count;
    contest->list[at] = (struct contestant) { .weight = weight,
                                              .shape = *shape,
                                              .background = kind,
                                              .deviation = sqrt(fit->left / freedom),
                                              .freedom = freedom,
                                              .fit = *fit };
}

/* From logarithms to shares, of all pairs that were kept. */
static void share_out(struct contest *contest)
{
    double most = -DBL_MAX, sum = 0;
    for (size_t i = 0; i < contest->count; i++)
        most = fmax(most, contest->list[i].weight);
    for (size_t i = 0; i < contest->count; i++)
        sum += contest->list[i].weight = exp(contest->list[i].weight - most);
    for (size_t i = 0; i < contest->count; i++) {
        struct contestant *each = &contest->list[i];
        each->weight /= sum;
        contest->courses[each->shape.course] += each->weight;
        contest->backgrounds[each->background] += each->weight;
        contest->stepless += each->shape.step == 0 ? each->weight : 0;
    }
}

static void fight(const struct bout *bout, const struct shapes *shapes, struct contest *contest)
{
    double most = -DBL_MAX;
    for (size_t s = 0; s < shapes->count; s++) {
        const struct course_shape *shape = &shapes->list[s];
        double weights[BACKGROUNDS];
        weigh(bout, shape, contest->places.count, weights);
        for (size_t i = 0; i < BACKGROUNDS; i++) {
            struct least_squares fit;
            most = fmax(most, weights[i]);
            if (weights[i] > most + log(lightest) && fit_pair(bout, i, shape, &fit))
                keep(contest, shape, bout->backgrounds[i].kind, &fit, weights[i]);
        }
    }
    share_out(contest);
}

static void measure_spreads(const struct shapes *shapes, size_t places, struct bout *bout)
{
    const double least = 1e-6, n = (double)places;
    for (size_t c = 0; c < SHAPE_COLUMNS; c++) {
        const double *column = shapes->column + c;
        double mean = 0, squares = 0;
        for (size_t i = 0; i < places; i++)
            mean += column[i * SHAPE_COLUMNS] / n;
        for (size_t i = 0; i < places; i++)
            squares += (column[i * SHAPE_COLUMNS] - mean) * (column[i * SHAPE_COLUMNS] - mean);
        bout->spread[c] = fmax(least, sqrt(squares / n));
    }
}

bool contest_hold(const double *time, const double *value, size_t count, double day,
                  const size_t step[2], double least, struct contest *contest)
{
    struct places *places = &contest->places;
    struct shapes shapes;
    struct bout bout;
    memset(contest, 0, sizeof *contest);
    if (!places_gather(time, value, count, places))
        return false;
    shapes_lay_out(places, day / places->span, step, &shapes);
    measure_spreads(&shapes, places->count, &bout);
    background_list(bout.backgrounds);
    for (size_t i = 0; i < BACKGROUNDS; i++)
        bout.determinant[i] = background_filter(&bout.backgrounds[i], places, shapes.column,
                                                SHAPE_COLUMNS, bout.normal[i]);
    double size = (double)places->size;
    bout.floor = (double)places->count * (least / size / (places->unit * places->unit) + 1e-15);
    fight(&bout, &shapes, contest);
    return contest->count > 0;
}

/* A figure that is made of a contestant's factors, in a unit. */
static double figure(const struct contestant *contestant, const double *row, double unit,
                     double *standard)
{
    *standard = unit * contestant->deviation * sqrt(least_squares_variance(&contestant->fit, row));
    return unit * least_squares_at(&contestant->fit, row);
}

double contestant_value(const struct contest *contest, const struct contestant *contestant,
                        double time, double *standard)
{
    const struct places *places = &contest->places;
    double row[LEAST_SQUARES_COLUMNS];
    shape_row(&contestant->shape, places_clock(places, time), row);
    return places->level + figure(contestant, row, places->unit, standard);
}

double contestant_step(const struct contest *contest, const struct contestant *contestant,
                       double *standard)
{
    double row[LEAST_SQUARES_COLUMNS] = { 0 };
    row[contestant->shape.count - 1] = 1;
    return figure(contestant, row, contest->places.unit, standard);
}

double contestant_day(const struct contest *contest, const struct contestant *contestant,
                      double *standard)
{
    const struct course_shape *shape = &contestant->shape;
    double row[LEAST_SQUARES_COLUMNS] = { 0 };
    *standard = 0;
    if (!shape->day)
        return 0;
    size_t sine = shape->count - 1 - (shape->step > 0);
    double a = contestant->fit.factor[sine - 1], b = contestant->fit.factor[sine];
    double length = hypot(a, b);
    row[sine - 1] = length > 0 ? 2 * a / length : 2;
    row[sine] = length > 0 ? 2 * b / length : 0;
    return figure(contestant, row, contest->places.unit, standard);
}

double contestant_slope(const struct contest *contest, const struct contestant *contestant,
                        double time, double *standard)
{
    double row[LEAST_SQUARES_COLUMNS];
    shape_slope_row(&contestant->shape, places_clock(&contest->places, time), row);
    return figure(contestant, row, contest->places.unit / contest->places.span, standard);
}
