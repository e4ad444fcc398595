/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sharpen.h"

#include <math.h>
#include <string.h>

enum { MOST_CELLS = 128, FEWEST_CELLS = 16, SAMPLES_A_CELL = 8, ROUNDS = 3 };

/* A slope bends by less than this, of the step between the cells beside it. */
static const double most_bend = 0.3;

/* The slopes must say so many times more than those that noise would show. */
static const double surely_slopes = 10.0;

/* A triangular law between its ends has the standard deviation when they are so many of it apart. */
static const double reach = 2.449489742783178;

/* A share of the period: sums over its samples of value x, place u, number i, and their products. */
struct cell {
    double n, x, u, i, xi, ui, ii;
};

struct cells {
    size_t count;
    struct cell cells[MOST_CELLS];
};

static void gather(const struct series *series, double frequency, struct cells *cells)
{
    double base = series_at(series, 0), middle = (double)(series->count - 1) / 2;
    size_t count = series->count / SAMPLES_A_CELL;
    memset(cells, 0, sizeof *cells);
    cells->count = count < MOST_CELLS ? count : MOST_CELLS;
    for (size_t k = 0; k < series->count; k++) {
        double i = (double)k - middle, turns = frequency * i;
        double place = turns - floor(turns);
        size_t at = (size_t)(place * (double)cells->count) % cells->count;
        double x = series_at(series, k) - base;
        double u = place - ((double)at + 0.5) / (double)cells->count;
        struct cell *cell = &cells->cells[at];
        cell->n++;
        cell->x += x;
        cell->u += u;
        cell->i += i;
        cell->xi += x * i;
        cell->ui += u * i;
        cell->ii += i * i;
    }
}

static const struct cell *cell_at(const struct cells *cells, size_t at)
{
    return &cells->cells[at % cells->count];
}

static double level_at(const struct cells *cells, size_t at)
{
    const struct cell *cell = cell_at(cells, at);
    return cell->n > 0 ? cell->x / cell->n : NAN;
}

/* Whether the record goes on straight from one cell to the next but one; false where one is empty. */
static bool is_straight(const struct cells *cells, size_t from)
{
    double low = level_at(cells, from), high = level_at(cells, from + 2);
    return fabs(low + high - 2 * level_at(cells, from + 1)) <= most_bend * fabs(high - low);
}

/*
 * From the cell before to the one behind, per period; *variance in one sample's. False where that is no
 * slope that begins before and goes on behind, as at an edge, which is in one cell.
 */
static bool slope_at(const struct cells *cells, size_t at, double *slope, double *variance)
{
    size_t from = at + cells->count - 1;
    const struct cell *before = cell_at(cells, from), *behind = cell_at(cells, at + 1);
    if (!is_straight(cells, from - 1) || !is_straight(cells, from) || !is_straight(cells, from + 1))
        return false;
    double apart = 2 / (double)cells->count + behind->u / behind->n - before->u / before->n;
    *slope = (level_at(cells, at + 1) - level_at(cells, from)) / apart;
    *variance = (1 / before->n + 1 / behind->n) / (apart * apart);
    return true;
}

/*
 * In a cell of slope s a frequency that is off by d moves sample i by s d i: with the cell's own level
 * and slope taken away, d is what least squares make of that (own derivation). 0 where noise
 * alone might show such slopes; *standard is that of d.
 */
static double correction(const struct cells *cells, double noise, double *standard)
{
    double products = 0, squares = 0, by_noise = 0;
    for (size_t at = 0; at < cells->count; at++) {
        const struct cell *cell = &cells->cells[at];
        double slope, variance;
        if (!slope_at(cells, at, &slope, &variance))
            continue;
        double spread = cell->ii - cell->i * cell->i / cell->n;
        double level = cell->xi - cell->x * cell->i / cell->n;
        double place = cell->ui - cell->u * cell->i / cell->n;
        products += slope * (level - slope * place);
        squares += slope * slope * spread;
        by_noise += variance * noise * noise * spread;
    }
    *standard = noise / sqrt(squares);
    return squares > surely_slopes * by_noise ? products / squares : 0;
}

void rhythm_sharpen(const struct series *series, double noise, struct rhythm *rhythm)
{
    if (series->count < (size_t)FEWEST_CELLS * SAMPLES_A_CELL)
        return;
    bool bounded = rhythm->least < rhythm->most;
    double frequency = rhythm->frequency, standard = INFINITY;
    for (int round = 0; round < ROUNDS; round++) {
        struct cells cells;
        gather(series, frequency, &cells);
        double moved = correction(&cells, noise, &standard);
        if (moved == 0)
            return;
        frequency += moved;
        if (bounded)
            frequency = fmin(rhythm->most, fmax(rhythm->least, frequency));
    }
    double least = frequency - reach * standard, most = frequency + reach * standard;
    *rhythm = (struct rhythm) { .frequency = frequency,
                                .least = bounded ? fmax(rhythm->least, least) : least,
                                .most = bounded ? fmin(rhythm->most, most) : most };
}
