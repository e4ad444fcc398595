/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "places.h"

#include <math.h>

enum { FEWEST = 8 };

static void gather(const double *time, const double *value, size_t count, struct places *places)
{
    places->size = (count + PLACES - 1) / PLACES;
    places->count = 0;
    for (size_t from = 0; from < count; from += places->size) {
        size_t n = count - from < places->size ? count - from : places->size;
        size_t at = places->count++;
        double times = 0, values = 0;
        for (size_t i = from; i < from + n; i++) {
            times += time[i] - places->start;
            values += value[i] - value[0];
        }
        places->first[at] = from;
        places->time[at] = times / (double)n / places->span;
        places->value[at] = values / (double)n;
        places->weight[at] = (double)n / (double)places->size;
    }
}

/* To zero mean and unit deviation, so that no sum of squares loses its digits. */
static bool scale(struct places *places, double first)
{
    double n = (double)places->count, mean = 0, squares = 0;
    for (size_t i = 0; i < places->count; i++)
        mean += places->value[i] / n;
    for (size_t i = 0; i < places->count; i++)
        squares += (places->value[i] - mean) * (places->value[i] - mean);
    places->level = first + mean;
    places->unit = sqrt(squares / n);
    if (!(places->unit > 0))
        return false;
    for (size_t i = 0; i < places->count; i++)
        places->value[i] = (places->value[i] - mean) / places->unit;
    return true;
}

bool places_gather(const double *time, const double *value, size_t count, struct places *places)
{
    if (count < FEWEST || !(time[count - 1] > time[0]))
        return false;
    places->start = time[0];
    places->span = time[count - 1] - time[0];
    gather(time, value, count, places);
    return scale(places, value[0]);
}

double places_clock(const struct places *places, double time)
{
    return (time - places->start) / places->span;
}
