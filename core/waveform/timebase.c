/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "timebase.h"

struct timebase_need timebase_need(enum aspect aspect)
{
    static const struct timebase_need averages = { 10.0, 20.0 };
    static const struct timebase_need extremes = { 3.0, 70.0 };
    return aspect_is_extreme(aspect) ? extremes : averages;
}

enum wave_reason timebase_choose(const double *durations, size_t count, size_t points,
                                 double frequency, const struct timebase_need *need, size_t *choice)
{
    size_t i = 0;
    while (i + 1 < count && !(durations[i] * frequency >= need->periods))
        i++;
    *choice = i;
    double periods = durations[i] * frequency;
    if (!(periods >= need->periods))
        return WAVE_FEW_PERIODS;
    return (double)points / periods >= need->per_period ? WAVE_NONE : WAVE_FEW_SAMPLES;
}

bool timebase_faster(const double *durations, size_t count, double lowest, double periods,
                     double duration, size_t *choice)
{
    size_t i = 0;
    while (i < count && !(durations[i] * lowest >= periods))
        i++;
    if (i == count || !(durations[i] < duration * 0.75))
        return false;
    *choice = i;
    return true;
}
