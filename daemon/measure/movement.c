/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "movement.h"

#include <math.h>

enum { LEAST_READINGS = 5 };

/* A slope of so many of its own standard deviations is none by chance; own choice. */
static const double significant = 5;

/* Neighbours so many standard deviations closer than in noise are no noise; own choice. */
static const double unlikely = 3.3;

bool stillness_doubts(const struct stillness *still, double value, double error)
{
    return !still->looked || still->moving != 0 || !(fabs(value - still->value) <= error);
}

void stillness_note(struct stillness *still, double value, double moved)
{
    double departed = still->looked ? value - still->value : 0;
    bool same = moved * departed > 0;
    *still = (struct stillness) { true, value, !same ? 0 : moved > 0 ? 1 : -1 };
}

double movement_of_two(double first, double second, double resolution)
{
    double moved = fabs(second - first);
    return moved > 1.5 * resolution ? moved : 0;
}

/*
 * Least squares with x = time less its mean: the slope is sum(x y) / sum(x^2),
 * its variance the residual variance over that sum (NIST/SEMATECH e-Handbook of
 * Statistical Methods, 4.4.3.1). Readings that wait for a busy machine lie on
 * their line all the same.
 */
static double line(const double *readings, const double *times, size_t count)
{
    double n = (double)count, mean = 0, middle = 0, squares = 0, slope = 0, residual = 0;
    for (size_t i = 0; i < count; i++) {
        mean += readings[i] / n;
        middle += times[i] / n;
    }
    for (size_t i = 0; i < count; i++) {
        squares += (times[i] - middle) * (times[i] - middle);
        slope += (times[i] - middle) * (readings[i] - mean);
    }
    if (!(squares > 0))
        return 0;
    slope /= squares;
    for (size_t i = 0; i < count; i++) {
        double off = readings[i] - mean - slope * (times[i] - middle);
        residual += off * off;
    }
    double spread = sqrt(residual / (n - 2) / squares);
    double furthest = fmax(middle - times[0], times[count - 1] - middle);
    return fabs(slope) > significant * spread ? fabs(slope) * furthest : 0;
}

/*
 * The sum of squared differences of neighbours over that of the readings from
 * their mean is 2 for white noise, with a variance of 4 (n - 2) / (n^2 - 1)
 * (J. von Neumann, Ann. Math. Stat. 12 (1941) 367, from memory; the test
 * counts how often noise alone is below the bound). Steps and slow waves are
 * far below, whatever their shape.
 */
static double stray(const double *readings, size_t count)
{
    double n = (double)count, mean = 0, neighbours = 0, all = 0, furthest = 0;
    for (size_t i = 0; i < count; i++)
        mean += readings[i] / n;
    for (size_t i = 0; i < count; i++) {
        double off = readings[i] - mean, step = i > 0 ? readings[i] - readings[i - 1] : 0;
        neighbours += step * step;
        all += off * off;
        furthest = fmax(furthest, fabs(off));
    }
    double bound = 2 - unlikely * sqrt(4 * (n - 2) / (n * n - 1));
    return neighbours < bound * all ? furthest : 0;
}

double movement_of_many(const double *readings, const double *times, size_t count)
{
    if (count < LEAST_READINGS)
        return 0;
    return fmax(line(readings, times, count), stray(readings, count));
}
