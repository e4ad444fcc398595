/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain.h"

#include <math.h>

static const double two_pi = 6.283185307179586477;

/*
 * Where the terms of the budget go: into a budget with their names, or into
 * a sum of squares when only the combined uncertainty is wanted. The planner
 * weighs dozens of setups after each acquisition and needs no names.
 */
struct sink {
    struct budget *budget;
    double squares;
};

static void term(struct sink *sink, const char *source, enum shape shape, double standard,
                 double sensitivity)
{
    if (sink->budget)
        budget_add(sink->budget, source, shape, standard, sensitivity, INFINITY);
    else
        sink->squares += standard * sensitivity * standard * sensitivity;
}

/* A term known by its bound: rectangular, JCGM 100 4.3.7. */
static void bounded(struct sink *sink, const char *source, double half_width, double sensitivity)
{
    term(sink, source, SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, half_width),
         sensitivity);
}

/*
 * An error of about known size that is not corrected, known by its bound: it is as
 * if always there. The sign of the sensitivity says to which side it moves the value.
 */
static void biased(struct sink *sink, const char *source, double bound, double sensitivity)
{
    term(sink, source, SHAPE_BIAS, shape_standard(SHAPE_BIAS, bound), sensitivity);
}

struct signal signal_level(double level)
{
    return (struct signal) {
        .value = level, .mean = level, .low = level, .high = level, .samples = 1, .frequency = NAN
    };
}

static const struct range *range_of(const struct chain *chain, const struct setup *setup)
{
    return &chain->input->ranges[setup->range];
}

void setup_window(const struct front_end *input, const struct setup *setup, double *low,
                  double *high)
{
    const struct range *range = &input->ranges[setup->range];
    double centre = setup->offset - setup->position;
    *low = centre + range->low;
    *high = centre + range->high;
}

/* By how much what noise does is larger on this range than on the one where it was seen. */
static double noise_share(const struct range *range, const struct signal *signal)
{
    return signal->resolution > 0 ? range->resolution / signal->resolution : 1;
}

double chain_error_limit(const struct chain *chain, const struct setup *setup,
                         const struct signal *signal, double value)
{
    const struct range *range = range_of(chain, setup);
    double limit = accuracy_limit(&range->accuracy, value - setup->offset, range->full_scale,
                                  range->resolution, chain->ambient);
    return limit + range->resolution / 2 + fabs(setup->offset) * chain->input->offset_fraction +
           chain->input->baseline_divisions * range->volts_per_division +
           3 * signal->noise * noise_share(range, signal);
}

/* At a probe's tip what is stated there; of a plain connection the cable's and the input's. */
static void read_capacitance(const struct probe *probe, const struct range *range,
                             struct load *load)
{
    load->capacitance = probe->tip_capacitance;
    load->capacitance_tolerance = probe->capacitance_tolerance;
    if (!isnan(probe->tip_capacitance))
        return;
    load->capacitance = range->input_capacitance + probe->cable_capacitance;
    load->capacitance_tolerance = range->capacitance_tolerance;
    if (probe->cable_capacitance > 0)
        load->capacitance_tolerance = (range->input_capacitance * range->capacitance_tolerance +
                                       probe->cable_capacitance * probe->capacitance_tolerance) /
                                      load->capacitance;
}

struct load chain_load(const struct chain *chain, const struct setup *setup)
{
    const struct range *range = range_of(chain, setup);
    struct load load = { NAN, 0, NAN, NAN };
    if (chain->probe->dimension != DIMENSION_VOLTAGE || chain->aspect == ASPECT_WHOLE)
        return load;
    if (isnan(chain->probe->tip_resistance)) {
        load.resistance = range->input_resistance;
        load.tolerance = range->resistance_tolerance;
    } else {
        load.resistance = chain->probe->tip_resistance;
        load.tolerance = chain->probe->resistance_tolerance;
    }
    read_capacitance(chain->probe, range, &load);
    return load;
}

/* A capacitance counts for a sine's swing only: of other shapes each harmonic has its own share. */
static bool counts_at_frequency(const struct chain *chain)
{
    return aspect_ignores_mean(chain->aspect) && chain->shape.kind == WAVESHAPE_SINE &&
           chain->frequency > 0;
}

struct loading chain_loading(const struct chain *chain, const struct setup *setup)
{
    struct load load = chain_load(chain, setup);
    if (counts_at_frequency(chain)) {
        struct loading loading = loading_at(&chain->source, &load, chain->frequency);
        if (loading.known)
            return loading;
    }
    return loading_resistive(&chain->source, &load);
}

/* What a value at the tip is multiplied by to take the load away. */
static double correction(const struct chain *chain, const struct setup *setup)
{
    struct loading loading = chain_loading(chain, setup);
    return chain->correct_loading && loading.known ? loading.factor : 1;
}

/*
 * What has no sign has none whatever the probe does to that of the signal. An RMS goes
 * through a probe without an offset only: with one it would need the mean.
 */
double chain_value(const struct chain *chain, const struct setup *setup, double input)
{
    double tip = aspect_has_no_sign(chain->aspect) ? input * fabs(chain->probe->factor)
                                                   : probe_to_tip(chain->probe, input);
    return tip * correction(chain, setup);
}

double chain_input(const struct chain *chain, const struct setup *setup, double tip)
{
    double loaded = tip / correction(chain, setup);
    return aspect_has_no_sign(chain->aspect) ? loaded / fabs(chain->probe->factor)
                                             : probe_to_input(chain->probe, loaded);
}

/* The part of the value that the amplifier and the converter had to show. */
static double deflection(enum aspect aspect, const struct setup *setup, const struct signal *signal)
{
    if (aspect_ignores_mean(aspect) || aspect == ASPECT_WHOLE)
        return signal->value;
    if (aspect != ASPECT_RMS)
        return signal->value - setup->offset;
    double alternating = fmax(0, signal->value * signal->value - signal->mean * signal->mean);
    double level = signal->mean - setup->offset;
    return sqrt(alternating + level * level);
}

/* How much an error of the dc level moves the value. */
static double level_sensitivity(enum aspect aspect, const struct signal *signal)
{
    if (aspect_ignores_mean(aspect))
        return 0;
    if (aspect != ASPECT_RMS || signal->value == 0)
        return 1;
    return fmin(1, fabs(signal->mean / signal->value));
}

/* Half a step at each end that the value is read from: two of them make a triangle. */
static void resolution_term(enum aspect aspect, double half_step, double scale, struct sink *sink)
{
    if (aspect == ASPECT_PEAK_TO_PEAK)
        term(sink, "resolution", SHAPE_TRIANGULAR, shape_standard(SHAPE_TRIANGULAR, 2 * half_step),
             scale);
    else
        bounded(sink, "resolution", half_step, scale);
}

static void instrument_terms(const struct chain *chain, const struct setup *setup,
                             const struct signal *signal, double scale, struct sink *sink)
{
    const struct range *range = range_of(chain, setup);
    double limit = accuracy_limit(&range->accuracy, deflection(chain->aspect, setup, signal),
                                  range->full_scale, range->resolution, chain->ambient);
    term(sink, "instrument accuracy", accuracy_shape(range->accuracy.level),
         accuracy_standard(limit, range->accuracy.level), scale);
    double half_step = range->resolution / 2 / sqrt(fmax(signal->averaged, 1));
    resolution_term(chain->aspect, half_step, scale, sink);
}

/* Where the zero trace lies, and how well a calibrated offset is known. */
static void level_terms(const struct chain *chain, const struct setup *setup,
                        const struct signal *signal, double scale, struct sink *sink)
{
    const struct range *range = range_of(chain, setup);
    double sensitivity = scale * level_sensitivity(chain->aspect, signal);
    if (chain->input->ground_reference)
        bounded(sink, "ground reference", range->resolution / 2, sensitivity);
    else
        bounded(sink, "baseline", chain->input->baseline_divisions * range->volts_per_division,
                sensitivity);
    bounded(sink, "offset setting", fabs(setup->offset) * chain->input->offset_fraction,
            sensitivity);
}

/*
 * What noise and samples do to the value and corrections leave open (core/waveform/estimate). What is in
 * doubt goes either way; it is given the direction of the other losses, which it may add to.
 */
static void sampling_terms(const struct chain *chain, const struct setup *setup,
                           const struct signal *signal, double scale, struct sink *sink)
{
    double inwards = chain->aspect == ASPECT_MINIMUM ? scale : -scale;
    double share = noise_share(range_of(chain, setup), signal);
    term(sink, "noise", SHAPE_NORMAL, signal->scatter * share, scale);
    biased(sink, "noise and samples, not corrected", signal->doubt * share, inwards);
    term(sink, "edges between samples", SHAPE_TRIANGULAR,
         shape_standard(SHAPE_TRIANGULAR, signal->edges), scale);
}

/*
 * What ac coupling took away, as a share of what is seen behind it: 1 / |H| - 1 of a first-order
 * high-pass at the fundamental, as harmonics lose less. Where the frequency is not known, the lowest
 * one that the record can show bounds it; where that is not known either, nothing does.
 */
static double coupling_loss(const struct chain *chain, const struct signal *signal)
{
    double frequency = isnan(signal->frequency) ? chain->lowest_frequency : signal->frequency;
    if (!(frequency > 0))
        return INFINITY;
    return hypot(1, chain->input->ac_corner / frequency) - 1;
}

/* What is seen, or where that has no period and may be all noise, what noise may hide: at the tip. */
static double seen_behind(const struct chain *chain, const struct setup *setup,
                          const struct signal *signal)
{
    double hidden = isnan(signal->frequency)
                        ? signal->doubt + 2 * signal->scatter + range_of(chain, setup)->resolution
                        : 0;
    return chain_value(chain, setup, signal->value + hidden);
}

/*
 * By how much of what is seen the tilt behind ac coupling may enlarge a peak-to-peak value. What
 * a first-order high-pass takes away is its low-pass: of a signal between 0 and 1 that has its own
 * largest swing for a square wave, tanh(pi corner / 2 frequency), and the output swings by no more
 * than both (own derivation). A sine has none; RMS only ever loses.
 */
static double coupling_tilt(const struct chain *chain, const struct signal *signal)
{
    if (chain->aspect != ASPECT_PEAK_TO_PEAK || chain->shape.kind == WAVESHAPE_SINE)
        return 0;
    double frequency = isnan(signal->frequency) ? chain->lowest_frequency : signal->frequency;
    double swing = frequency > 0 ? tanh(two_pi / 4 * chain->input->ac_corner / frequency) : 1;
    return swing / (1 + swing);
}

/* The frequency that was seen, else the one that is stated. */
static double frequency_of(const struct chain *chain, const struct signal *signal)
{
    return isnan(signal->frequency) ? chain->frequency : signal->frequency;
}

/*
 * What the capacitance at the tip takes away beyond the loading that is
 * reckoned with, as a share. Where that is at the stated frequency, it is what
 * the frequency that was seen makes different. Else the capacitance and the
 * source in parallel to the load are a first-order low-pass, Z / (Z + Rs); a
 * capacitance of the source's own only makes its share smaller.
 */
static double capacitive_share(const struct chain *chain, const struct setup *setup,
                               const struct signal *signal, const struct loading *loading)
{
    struct load load = chain_load(chain, setup);
    double frequency = frequency_of(chain, signal);
    bool steady = aspect_is_steady(chain->aspect);
    if (steady || isnan(load.capacitance) || isnan(frequency) || !loading->known)
        return 0;
    if (loading->frequency > 0) {
        struct loading seen = loading_at(&chain->source, &load, frequency);
        return fabs(seen.ratio / loading->ratio - 1);
    }
    double most = load.capacitance * (1 + fmax(load.capacitance_tolerance, 0));
    double parallel = chain->source.resistance * loading->ratio;
    bool peaks = aspect_is_extreme(chain->aspect);
    return waveshape_loss(chain->shape, peaks, frequency, 1 / (two_pi * parallel * most));
}

/*
 * What a share of the signal's swing does to the value when it is lost, tip
 * units: the value shrinks; an extreme moves inwards, by a share of all of the
 * swing.
 */
static double shrinking(const struct chain *chain, const struct setup *setup,
                        const struct signal *signal)
{
    double swing =
        (signal->high - signal->low) * fabs(chain->probe->factor) * correction(chain, setup);
    if (chain->aspect == ASPECT_MINIMUM)
        return swing;
    return chain->aspect == ASPECT_MAXIMUM ? -swing : -chain_value(chain, setup, signal->value);
}

/* What instrument and probe do not see of the signal. */
static void suitability_terms(const struct chain *chain, const struct setup *setup,
                              const struct signal *signal, struct sink *sink)
{
    struct signal_facts signal_facts = { chain->aspect, chain->shape, frequency_of(chain, signal),
                                         chain->crest_factor };
    biased(sink, "bandwidth", suitability_roll_off(&chain->abilities, &signal_facts),
           shrinking(chain, setup, signal));
    bounded(sink, "crest factor", suitability_crest_share(&chain->abilities, &signal_facts),
            chain_value(chain, setup, signal->value));
}

/*
 * How far the factor of a divider may be off because the input behind it is
 * not quite the one it was made for: with (k - 1) R in series to R the factor
 * is k, and moves by (1 - 1/k) of the relative error of R.
 */
static double input_share(const struct chain *chain, const struct setup *setup)
{
    if (isnan(chain->probe->load_resistance))
        return 0;
    return fabs(1 - 1 / fabs(chain->probe->factor)) * range_of(chain, setup)->resistance_tolerance;
}

/*
 * What the correction's own uncertainty does to the value: at a frequency as
 * one term of all its four elements, whose sum is nearer to a normal law than
 * to a rectangle; at dc as the two resistances, each within its bound.
 */
static void correction_terms(const struct chain *chain, const struct setup *setup,
                             const struct loading *loading, double value, struct sink *sink)
{
    double correction = -loading->relative * value;
    if (loading->frequency > 0) {
        term(sink, "loading correction", SHAPE_NORMAL, loading->uncertainty, value);
        return;
    }
    bounded(sink, "loading, source resistance", chain->source.tolerance, correction);
    bounded(sink, "loading, input resistance", chain_load(chain, setup).tolerance, correction);
}

/* Uncorrected capacitance makes a swing smaller; what is left of it behind a correction goes
 * either way. */
static void capacitive_term(const struct chain *chain, const struct setup *setup,
                            const struct signal *signal, const struct loading *loading,
                            struct sink *sink)
{
    double share = capacitive_share(chain, setup, signal, loading);
    double shrinks = shrinking(chain, setup, signal);
    if (loading->frequency > 0)
        bounded(sink, "capacitive loading", share, fabs(shrinks));
    else
        biased(sink, "capacitive loading", share, shrinks);
}

/* What the coupling took is put back as far as its corner is what is stated; own choice, no source. */
static const double corner_tolerance = 0.3;

/* A peak-to-peak value that the record told back has but the corner's doubt; else any shape and tilt may be. */
static void coupling_terms(const struct chain *chain, const struct setup *setup,
                           const struct signal *signal, struct sink *sink)
{
    double value = chain_value(chain, setup, signal->value);
    if (chain->aspect == ASPECT_PEAK_TO_PEAK && signal->uncoupled > 0) {
        bounded(sink, "ac coupling", corner_tolerance * fabs(1 - 1 / signal->uncoupled), value);
        return;
    }
    biased(sink, "ac coupling", coupling_loss(chain, signal), -seen_behind(chain, setup, signal));
    biased(sink, "tilt by ac coupling", coupling_tilt(chain, signal), value);
}

static void circuit_terms(const struct chain *chain, const struct setup *setup,
                          const struct signal *signal, struct sink *sink)
{
    const struct probe *probe = chain->probe;
    double corrected = correction(chain, setup);
    double through = signal->value * fabs(probe->factor) * corrected;
    bounded(sink, "probe factor", probe->tolerance, through);
    bounded(sink, "input behind the probe", input_share(chain, setup), through);
    if (!aspect_has_no_sign(chain->aspect))
        bounded(sink, probe->dimension == DIMENSION_RESISTANCE ? "lead resistance" : "probe offset",
                probe->offset_tolerance, corrected);
    if (!aspect_has_no_sign(chain->aspect))
        term(sink, "zero of the leads", SHAPE_NORMAL, probe->offset_standard, corrected);
    struct loading loading = chain_loading(chain, setup);
    double value = chain_value(chain, setup, signal->value);
    if (chain->correct_loading && loading.known)
        correction_terms(chain, setup, &loading, value, sink);
    capacitive_term(chain, setup, signal, &loading, sink);
    if (setup->coupling == COUPLING_AC)
        coupling_terms(chain, setup, signal, sink);
}

static void all_terms(const struct chain *chain, const struct setup *setup,
                      const struct signal *signal, struct sink *sink)
{
    double scale = fabs(chain->probe->factor) * correction(chain, setup);
    instrument_terms(chain, setup, signal, scale, sink);
    bounded(sink, "moving while it was measured", signal->drift, scale);
    if (chain->input->vertical) {
        level_terms(chain, setup, signal, scale, sink);
        sampling_terms(chain, setup, signal, scale, sink);
    }
    circuit_terms(chain, setup, signal, sink);
    suitability_terms(chain, setup, signal, sink);
}

void chain_budget(const struct chain *chain, const struct setup *setup, const struct signal *signal,
                  struct budget *budget)
{
    struct sink sink = { budget, 0 };
    budget->count = 0;
    budget->lacking = false;
    all_terms(chain, setup, signal, &sink);
}

double chain_uncertainty(const struct chain *chain, const struct setup *setup,
                         const struct signal *signal)
{
    struct sink sink = { NULL, 0 };
    all_terms(chain, setup, signal, &sink);
    return sqrt(sink.squares);
}
