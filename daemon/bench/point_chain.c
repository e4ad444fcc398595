/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "point_chain.h"

#include <math.h>

bool point_chain(const struct bench *bench, const struct bench_point *point, struct chain *chain,
                 struct failure *failure)
{
    const struct bench_instrument *instrument = &bench->instruments[point->instrument];
    const struct front_end *input = profile_front_end(instrument->profile, point->at_input);
    if (!input) {
        failure_set(failure, FAILURE_UNSUPPORTED, instrument->name, NULL,
                    "its profile %s has no %s", instrument->profile->name,
                    quantity_name(point->at_input));
        return false;
    }
    chain->input = input;
    chain->probe = &bench->probes[point->probe];
    /* What a record's shape says is seen best where its swing is. */
    bool of_shape = bench_of_shape(bench, point);
    chain->aspect = of_shape ? ASPECT_PEAK_TO_PEAK : quantity_aspect(point->quantity);
    chain->keeps_level = of_shape && !quantity_ignores_slow(point->quantity);
    chain->source = point->source;
    chain->correct_loading = point->correct_loading;
    chain->ambient = instrument->ambient;
    chain->crest_factor = point->crest_factor;
    chain->frequency = point->frequency;
    chain->shape = point->shape;
    chain->abilities = profile_abilities(instrument->profile, point->at_input, bench_record(point));
    chain->abilities.probe_bandwidth = chain->probe->bandwidth;
    chain->lowest_frequency = input->vertical ? 1 / bench_record(point) : NAN;
    return true;
}

/* The largest over RMS of the aspect's signal: what is stated, or a sine's. */
static double crest_of(const struct bench_point *point)
{
    return isnan(point->crest_factor) ? sqrt(2) : point->crest_factor;
}

bool point_expected(const struct bench *bench, const struct bench_point *point,
                    const struct chain *chain, struct signal *signal)
{
    if (isnan(point->expected) ||
        (bench_of_shape(bench, point) && quantity_aspect(point->quantity) == ASPECT_WHOLE))
        return false;
    struct setup top = { chain->input->count - 1, COUPLING_DC, 0, 0 };
    double value = chain_input(chain, &top, point->expected);
    double level = isnan(point->dc_level) ? 0 : point->dc_level / chain->probe->factor;
    struct signal expected = signal_level(value);
    expected.frequency = point->frequency;
    if (chain->input->vertical && chain->aspect != ASPECT_DC) {
        double swing = chain->aspect == ASPECT_PEAK_TO_PEAK ? value / 2
                       : aspect_is_rms(chain->aspect)       ? value * crest_of(point)
                                                            : fabs(value);
        expected.mean = level;
        expected.low = level - swing;
        expected.high = level + swing;
    }
    *signal = expected;
    return true;
}
