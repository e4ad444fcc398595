/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "feed.h"

#include "spread.h"

#include <math.h>

struct feed feed_of(const struct scope *scope, size_t input, const struct tie *tie, gsl_rng *rng)
{
    const struct scope_input *in = &scope->inputs[input];
    struct feed feed = { 0 };

    if ((in->coupling == SCOPE_GROUND && !in->ground_dead) || tie->source == NULL)
        return feed;
    feed.source = tie->source;
    feed.ac = in->coupling == SCOPE_AC || tie->probe.blocks_dc;
    feed.gain = circuit_voltage_gain(tie, in->input_resistance);
    feed.share = circuit_sine_share(tie, in->input_resistance);
    feed.offset = feed.ac ? 0.0 : tie->probe.offset;
    feed.wander = feed.ac ? 0.0 : spread_gauss(rng, tie->source->wander);
    if (tie->probe.edge_ratio > 0.0) {
        /* (1 + s m tau) / (1 + s tau) = 1 + (m - 1) s tau / (1 + s tau). */
        feed.edge = tie->probe.edge_ratio - 1.0;
        highpass_prepare(&feed.fast, &tie->source->wave, 1.0 / (2.0 * M_PI * tie->probe.edge_tau));
    }
    if (tie->probe.bandwidth > 0.0 && tie->source->wave.shape == WAVE_LINES) {
        feed.slow = true;
        highpass_prepare(&feed.above, &tie->source->wave, tie->probe.bandwidth);
    }
    highpass_prepare(&feed.highpass, &tie->source->wave, feed.ac ? scope->type->ac_corner : 0.0);
    return feed;
}

/* What is there with so much noise of the source on it. */
static double with_noise(const struct feed *feed, double now, double phase, double noise)
{
    double level = feed->ac ? 0.0 : source_level(feed->source, now) + feed->wander;
    double swing = highpass_at(&feed->highpass, phase) * feed->share;

    if (feed->edge != 0.0)
        swing += feed->edge * highpass_at(&feed->fast, phase);
    if (feed->slow)
        swing -= highpass_at(&feed->above, phase);
    return (level + swing + noise) * feed->gain + feed->offset;
}

double feed_volts(const struct feed *feed, double now, double phase, gsl_rng *rng)
{
    return with_noise(feed, now, phase, spread_gauss(rng, feed->source->noise));
}

double feed_quiet(const struct feed *feed, double now, double phase)
{
    return feed->source != NULL ? with_noise(feed, now, phase, 0.0) : 0.0;
}

double feed_phase(const struct feed *feed, double start)
{
    double frequency = feed->source != NULL ? feed->source->wave.frequency : 0.0;
    double delay = feed->source != NULL ? feed->source->delay : 0.0;
    double phase = (start - delay) * frequency;

    return phase - floor(phase);
}
