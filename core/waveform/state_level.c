/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "state_level.h"

#include <math.h>

enum { ROUNDS = 3 };

static const double uniform_sigma = 0.28867513459481288;
static const double widest = 3, half_a_step = 0.51;

/* Roundings alone look like noise of up to 0.6 of a step (core/waveform/waveform); what is more dithers. */
static const double dithered = 0.62;

bool state_dithered(const struct series *series, double noise)
{
    return noise >= dithered * series->step;
}

double state_reach(const struct series *series, double noise)
{
    return widest * noise + half_a_step * series->step;
}

static struct state_level concluded(const struct series *series, double level, double count,
                                    double doubt, double noise)
{
    bool averages = state_dithered(series, noise);
    return (struct state_level) { .level = level,
                                  .standard = hypot(noise / sqrt(count),
                                                    averages ? 0 : series->step * uniform_sigma),
                                  .doubt = doubt,
                                  .averaged = averages ? count : 1 };
}

struct state_level state_level(const struct series *series, double mode, double noise)
{
    double reach = state_reach(series, noise);
    struct series_band band = { 1, mode };
    for (int i = 0; i < ROUNDS; i++) {
        struct zone zone = zone_between(band.mean - reach, band.mean + reach);
        struct series_band next = series_within(series, &zone);
        if (next.count == 0)
            break;
        band = next;
    }
    return concluded(series, band.mean, (double)band.count, reach / 2, noise);
}

struct state_level state_settled(const struct series *series, const struct state_level *found,
                                 const struct state_part *early, const struct state_part *late,
                                 double noise)
{
    if (!(late->count > 0) || !(early->count > 0))
        return *found;
    double level = late->sum / late->count;
    double doubt = fabs(level - early->sum / early->count) / 4;
    return concluded(series, level, late->count, doubt, noise);
}
