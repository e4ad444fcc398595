/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "probe_choice.h"

#include "setups.h"

#include <math.h>

/* The extremes at the input behind another probe. */
static struct signal behind(const struct chain *chain, const struct probe *probe,
                            const struct signal *signal)
{
    double share = chain->probe->factor / probe->factor;
    struct signal seen = *signal;
    seen.value *= share;
    seen.mean *= share;
    seen.low = fmin(signal->low * share, signal->high * share);
    seen.high = fmax(signal->low * share, signal->high * share);
    seen.noise *= fabs(share);
    return seen;
}

static bool fits(const struct chain *chain, const struct probe *probe, const struct signal *signal)
{
    double peak = fmax(fabs(signal->low), fabs(signal->high)) * fabs(chain->probe->factor);
    double frequency = isnan(signal->frequency) ? chain->frequency : signal->frequency;
    if (probe->dimension != chain->probe->dimension || probe->offset != 0 ||
        probe->factor * chain->probe->factor < 0 || peak > probe_rating_at(probe, frequency) ||
        frequency > probe->bandwidth)
        return false;
    for (size_t i = 0; i < chain->input->count; i++)
        if (!probe_fits_input(probe, chain->input->ranges[i].input_resistance))
            return false;
    return true;
}

/* The best setup for the signal behind this probe; false when none holds it. */
static bool best_setup(const struct chain *chain, const struct signal *signal, struct weighed *best)
{
    struct weighed all[SETUPS_MOST];
    struct extremes extremes = { { signal->low, signal->high },
                                 { signal->low - signal->mean, signal->high - signal->mean },
                                 false,
                                 0 };
    size_t n = setups_weigh(chain, signal, &extremes, all, sizeof all / sizeof *all);
    *best = (struct weighed) { .standard = INFINITY };
    for (size_t i = 0; i < n; i++)
        if (weighed_beats(&all[i], best))
            *best = all[i];
    return best->fits;
}

size_t probe_with_least_loading(const struct chain *chain, const struct setup *setup,
                                const struct signal *signal, const struct probe *probes,
                                size_t count)
{
    struct loading present = chain_loading(chain, setup);
    double taken = fabs(chain_value(chain, setup, signal->value) * present.relative);
    double least = present.relative;
    size_t chosen = count;
    for (size_t i = 0; i < count; i++) {
        struct chain other = *chain;
        struct weighed best;
        other.probe = &probes[i];
        struct signal seen = behind(chain, &probes[i], signal);
        if (!fits(chain, &probes[i], signal) || !best_setup(&other, &seen, &best))
            continue;
        struct loading loading = chain_loading(&other, &best.setup);
        double step = chain->input->ranges[best.setup.range].resolution * fabs(probes[i].factor);
        if (loading.known && loading.relative > least && step < taken) {
            least = loading.relative;
            chosen = i;
        }
    }
    return chosen;
}
