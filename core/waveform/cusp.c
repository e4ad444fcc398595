/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cusp.h"

#include <math.h>
#include <stddef.h>

enum { TRIES = 48, FEWEST = 6, TERMS = 3 };

/* A cusp may leave over so much more than the crest's shape, in the noise's variance. */
static const double as_well = 4.0;

/* A pivot that is less, of its diagonal element, is none. */
static const double least_pivot = 1e-9;

/* The nodes in the crest's stretch: upwards is its way, zero its value. */
struct points {
    size_t count;
    double x[FOLD_NODES], y[FOLD_NODES], weight[FOLD_NODES];
};

/* Returns what the crest's shape leaves over. */
static double gather(const struct fold *fold, const struct crest *crest, struct points *points)
{
    double left = 0;
    points->count = 0;
    for (size_t i = 0; i < fold->count; i++) {
        const struct fold_node *node = &fold->nodes[i];
        double place = node->place + ceil(crest->first - node->place);
        if (place > crest->last)
            continue;
        size_t n = points->count++;
        double off = node->value - crest_shape(crest, place);
        points->x[n] = place;
        points->y[n] = crest->sign * (node->value - crest->value);
        points->weight[n] = node->count;
        left += node->count * off * off;
    }
    return left;
}

/* Gaussian elimination; false where the equations do not fix it. */
static bool solve(double a[TERMS][TERMS], double b[TERMS])
{
    for (int k = 0; k < TERMS; k++) {
        double whole = a[k][k];
        for (int j = 0; j < k; j++) {
            double share = a[k][j] / a[j][j];
            for (int i = j; i < TERMS; i++)
                a[k][i] -= share * a[j][i];
            b[k] -= share * b[j];
        }
        if (!(a[k][k] > least_pivot * whole))
            return false;
    }
    for (int k = TERMS - 1; k >= 0; k--) {
        for (int j = k + 1; j < TERMS; j++)
            b[k] -= a[k][j] * b[j];
        b[k] /= a[k][k];
    }
    return true;
}

/* What a cusp at `tip` leaves over, INFINITY where that is none; *top is how high it is. */
static double fit_cusp(const struct points *points, double tip, double *top)
{
    double a[TERMS][TERMS] = { { 0 } }, b[TERMS] = { 0 }, sums[TERMS], square = 0;
    for (size_t i = 0; i < points->count; i++) {
        double root = sqrt(fabs(points->x[i] - tip));
        bool rises = points->x[i] < tip;
        double base[TERMS] = { 1, rises ? root : 0, rises ? 0 : root };
        for (int k = 0; k < TERMS; k++) {
            for (int j = 0; j < TERMS; j++)
                a[k][j] += points->weight[i] * base[k] * base[j];
            b[k] += points->weight[i] * base[k] * points->y[i];
        }
        square += points->weight[i] * points->y[i] * points->y[i];
    }
    for (int k = 0; k < TERMS; k++)
        sums[k] = b[k];
    if (!solve(a, b) || b[1] >= 0 || b[2] >= 0)
        return INFINITY;
    *top = b[0];
    return square - b[0] * sums[0] - b[1] * sums[1] - b[2] * sums[2];
}

double cusp_above(const struct fold *fold, const struct crest *crest, double noise)
{
    struct points points;
    double left = gather(fold, crest, &points), highest = 0;
    if (points.count < FEWEST)
        return 0;
    for (int i = 1; i < TRIES; i++) {
        double top = 0, tip = crest->first + (crest->last - crest->first) * i / TRIES;
        if (fit_cusp(&points, tip, &top) <= left + as_well * noise * noise)
            highest = fmax(highest, top);
    }
    return highest;
}
