/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "setups.h"

#include <math.h>

/* Offsets and positions are set in steps of this many divisions: round figures, few changes. */
static const double shift_step = 0.01;

/* An offset leaves the signal this many divisions from the edge of the screen. */
static const double offset_room = 0.25;

static double rounded(double value, double step)
{
    return step > 0 ? round(value / step) * step : value;
}

static double clamped(double value, double bound)
{
    return fmax(-bound, fmin(bound, value));
}

static struct setup with_offset(const struct front_end *input, size_t i, double centre)
{
    const struct range *range = &input->ranges[i];
    double offset = rounded(centre, shift_step * range->volts_per_division);
    struct setup setup = { i, COUPLING_DC, clamped(offset, range->offset_span), 0 };
    return setup;
}

/* What the zero trace needs on the screen to be seen whole. */
static double zero_room(const struct front_end *input, size_t i)
{
    return input->baseline_divisions * input->ranges[i].volts_per_division +
           input->ranges[i].resolution;
}

/* The zero trace stays on the screen: the ground reference is taken there. */
static struct setup with_position(const struct front_end *input, size_t i, double centre)
{
    const struct range *range = &input->ranges[i];
    double step = shift_step * range->volts_per_division;
    double bound = fmin(input->position_divisions * range->volts_per_division,
                        (range->high - range->low) / 2 - zero_room(input, i));
    double position = rounded(-centre, step);
    struct setup setup = { i, COUPLING_DC, 0, clamped(position, floor(bound / step) * step) };
    return setup;
}

struct setup setup_centred(const struct front_end *input, size_t range, double centre)
{
    double by_position = input->position_divisions * input->ranges[range].volts_per_division;
    return input->ranges[range].offset_span > by_position ? with_offset(input, range, centre)
                                                          : with_position(input, range, centre);
}

/*
 * Whether the window of a setup holds a span. To be sure, it must hold it
 * wherever the setup's own errors of level put it: the zero trace off by its
 * bound, the offset by its own. A range that begins at zero (ac, resistance,
 * frequency) shows nothing below it, and a reading near zero is none the
 * worse for that.
 */
static bool holds(const struct front_end *input, const struct setup *setup, const struct span *span,
                  bool sure)
{
    const struct range *range = &input->ranges[setup->range];
    double low, high, level = 0;
    setup_window(input, setup, &low, &high);
    if (sure)
        level = input->baseline_divisions * range->volts_per_division +
                input->offset_fraction * fabs(setup->offset);
    bool unipolar = !input->vertical && range->low >= 0;
    return span->high + level <= high && (unipolar || span->low - level >= low);
}

/* Whether an ac range stands the peaks of a signal of known crest factor. */
static bool stands_peaks(const struct chain *chain, const struct setup *setup, double value)
{
    double peak = chain->input->ranges[setup->range].peak;
    return isnan(peak) || isnan(chain->crest_factor) || value * chain->crest_factor <= peak;
}

static struct weighed weigh(const struct chain *chain, const struct signal *signal,
                            const struct setup *setup, const struct span *span, bool sure)
{
    struct weighed candidate = { *setup, false, INFINITY };
    candidate.fits =
        holds(chain->input, setup, span, sure) && stands_peaks(chain, setup, span->high);
    candidate.standard = chain_uncertainty(chain, setup, signal);
    return candidate;
}

bool weighed_beats(const struct weighed *a, const struct weighed *b)
{
    if (a->fits != b->fits)
        return a->fits;
    return a->standard < b->standard * (1 - 1e-9);
}

/*
 * The span that must stay on the screen when the trace is moved: where the
 * mean counts the zero trace too, for the ground reference is taken there.
 */
static struct span with_ground(const struct chain *chain, size_t range, const struct span *span)
{
    double room = zero_room(chain->input, range);
    struct span shown = *span;
    if (!aspect_ignores_mean(chain->aspect)) {
        shown.low = fmin(shown.low, -room);
        shown.high = fmax(shown.high, room);
    }
    return shown;
}

/*
 * The offset that makes the least of two errors: the gain's, g times the
 * deflection v - o, and the offset's own, f times o. In quadrature
 * (f o)^2 + (g (v - o))^2 is smallest at o = v g^2 / (f^2 + g^2); from there it
 * is moved only as far as the signal must be to stay on the screen.
 */
static double best_offset(const struct chain *chain, const struct signal *signal, size_t range,
                          const struct span *span)
{
    const struct range *r = &chain->input->ranges[range];
    double f = chain->input->offset_fraction;
    double g = r->accuracy.reading;
    if (aspect_ignores_mean(chain->aspect) || !(f > 0) || !(g > 0))
        return (span->low + span->high) / 2;
    double wanted = signal->value * g * g / (f * f + g * g);
    double room = offset_room * r->volts_per_division;
    return fmax(span->high - r->high + room, fmin(span->low - r->low - room, wanted));
}

/* The best of the shifts that a range allows: none, the trace moved, or a calibrated offset. */
static struct weighed best_shift(const struct chain *chain, const struct signal *signal,
                                 size_t range, const struct span *span, bool sure)
{
    const struct front_end *input = chain->input;
    struct setup plain = { range, COUPLING_DC, 0, 0 };
    struct weighed best = weigh(chain, signal, &plain, span, sure);
    if (!isfinite(span->low) || !isfinite(span->high))
        return best;
    if (input->position_divisions > 0 && !best.fits) {
        struct span shown = with_ground(chain, range, span);
        struct setup moved = with_position(input, range, (shown.low + shown.high) / 2);
        struct weighed candidate = weigh(chain, signal, &moved, &shown, sure);
        if (weighed_beats(&candidate, &best))
            best = candidate;
    }
    if (input->ranges[range].offset_span > 0) {
        struct setup offset = with_offset(input, range, best_offset(chain, signal, range, span));
        struct weighed candidate = weigh(chain, signal, &offset, span, sure);
        if (weighed_beats(&candidate, &best))
            best = candidate;
    }
    return best;
}

static bool couples_ac(const struct chain *chain)
{
    return chain->input->vertical && chain->input->ac_coupling && !chain->keeps_level &&
           aspect_ignores_mean(chain->aspect);
}

static struct weighed through_ac(const struct chain *chain, const struct signal *signal,
                                 size_t range, const struct span *swing, bool sure)
{
    struct setup setup = { range, COUPLING_AC, 0, 0 };
    return weigh(chain, signal, &setup, swing, sure);
}

/* What is left of a span on a range on which the instrument's own noise is smaller. */
static struct span on_range(const struct range *range, const struct signal *signal,
                            const struct span *span, double noise)
{
    double share = signal->resolution > 0 ? fmin(1, range->resolution / signal->resolution) : 1;
    double less = fmin(noise * (1 - share), (span->high - span->low) / 2);
    return (struct span) { span->low + less, span->high - less };
}

size_t setups_weigh(const struct chain *chain, const struct signal *signal,
                    const struct extremes *extremes, struct weighed *candidates, size_t max)
{
    size_t n = 0;
    for (size_t i = 0; i < chain->input->count; i++) {
        const struct range *range = &chain->input->ranges[i];
        struct span total = on_range(range, signal, &extremes->total, extremes->noise);
        struct span swing = on_range(range, signal, &extremes->swing, extremes->noise);
        if (n < max)
            candidates[n++] = best_shift(chain, signal, i, &total, extremes->sure);
        if (n < max && couples_ac(chain))
            candidates[n++] = through_ac(chain, signal, i, &swing, extremes->sure);
    }
    return n;
}
