/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record_choice.h"

#include "core/waveform/timebase.h"

#include <math.h>

double record_for(const struct scope *scope, const struct timebase_need *need, double frequency)
{
    size_t choice = 0;
    if (!(frequency > 0))
        return NAN;
    timebase_choose(scope->durations, scope->duration_count, scope->points, frequency, need,
                    &choice);
    return scope->durations[choice];
}

/* How much less than what is needed will do, relative: frequencies are not exact. */
static const double slack = 0.02;

bool record_suits(const struct scope *scope, const struct timebase_need *need, double frequency,
                  double wanted)
{
    double periods = scope->durations[scope_record(scope, wanted)] * frequency;
    double share = 1 - slack;
    return periods >= need->periods * share &&
           (double)scope->points >= need->per_period * periods * share;
}

bool record_same(const struct scope *scope, double one, double other)
{
    return scope_record(scope, one) == scope_record(scope, other);
}

/* A swing of more noise than this, with no period in suitability, is something slow. */
static const double swing_in_noise = 12;

/* Roundings make so many steps of what stands still. */
static const double swing_in_steps = 4;

bool record_too_short(const struct acquisition *seen, const struct chain *chain,
                      const struct setup *setup)
{
    double low, high;
    setup_window(chain->input, setup, &low, &high);
    double step = chain->input->ranges[setup->range].resolution;
    double little = aspect_averages(chain->aspect) ? 0.05 * (high - low) : swing_in_steps * step;
    return seen->has_waveform && seen->waveform.periods == 0 &&
           seen->signal.high - seen->signal.low > swing_in_noise * seen->signal.noise + little;
}

double record_longer(const struct scope *scope, double wanted, double left)
{
    static const double share = 0.1;
    double now = scope->durations[scope_record(scope, wanted)];
    double longer = scope->durations[scope_record(scope, 10 * now)];
    return longer > now && longer < share * left ? longer : NAN;
}

bool record_shows(const struct waveform *waveform, double frequency)
{
    return fabs(waveform->frequency - frequency) <= 0.05 * frequency;
}
