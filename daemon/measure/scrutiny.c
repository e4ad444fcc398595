/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scrutiny.h"

#include "core/range/probe_choice.h"
#include "daemon/basics/wall_clock.h"
#include "record_choice.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

static const struct bench_instrument *instrument_of(const struct evidence *evidence)
{
    return &evidence->bench->instruments[evidence->point->instrument];
}

/* Whether the calibration was due before today (UTC); ISO dates compare as text. */
static bool is_overdue(const struct bench_instrument *instrument)
{
    char today[16];
    struct tm date;
    const time_t now = wall_time_timespec(wall_time_now()).tv_sec;
    gmtime_r(&now, &date);
    strftime(today, sizeof today, "%Y-%m-%d", &date);
    return instrument->calibration_due[0] && strcmp(instrument->calibration_due, today) < 0;
}

/* The frequency that was seen, else the one that is stated. */
static double frequency_of(const struct evidence *evidence)
{
    double seen = evidence->acquisition->signal.frequency;
    return isnan(seen) ? evidence->point->frequency : seen;
}

/*
 * Largest |instantaneous value| at the input. A scope has seen it, but for the
 * level that its ac coupling keeps away; a meter says an RMS, whose peak is
 * that by the crest factor (a sine's where it is not known). Where the level
 * is not seen it is the one that is stated.
 */
static double input_peak(const struct evidence *evidence, const struct setup *setup)
{
    const struct signal *signal = &evidence->acquisition->signal;
    const struct bench_point *point = evidence->point;
    double seen = fmax(fabs(signal->low), fabs(signal->high));
    double level =
        isnan(point->dc_level) ? 0 : fabs(point->dc_level / evidence->chain->probe->factor);
    enum aspect aspect = evidence->chain->aspect;
    if (evidence->chain->input->vertical)
        return setup->coupling == COUPLING_AC ? seen + level : seen;
    if (!aspect_is_rms(aspect))
        return seen;
    return seen * (isnan(point->crest_factor) ? sqrt(2) : point->crest_factor) + level;
}

static void read_ratings(const struct evidence *evidence, const struct setup *setup,
                         struct circumstances *facts)
{
    const struct probe *probe = evidence->chain->probe;
    double peak = input_peak(evidence, setup);
    double frequency = frequency_of(evidence);
    facts->peak = peak * fabs(probe->factor) + fabs(probe->offset);
    facts->rating = probe_rating_at(probe, isnan(frequency) ? 0 : frequency);
    if (quantity_dimension(evidence->point->at_input) == DIMENSION_VOLTAGE) {
        facts->input_peak = peak;
        facts->input_rating = instrument_of(evidence)->profile->max_input;
    }
}

static void read_zero(const struct evidence *evidence, const struct setup *setup,
                      struct circumstances *facts)
{
    const struct front_end *input = evidence->chain->input;
    const struct range *range = &input->ranges[setup->range];
    if (!input->vertical)
        return;
    if (evidence->zero)
        facts->zero_level = evidence->zero->mean / range->volts_per_division;
    facts->zero_bound = input->baseline_divisions + range->resolution / range->volts_per_division;
}

/*
 * How long a scope looked, and whether that was long enough. Extremes and averages of a swing that
 * shows no whole period are those of what happened to be seen.
 */
static void read_record(const struct evidence *evidence, const struct setup *setup,
                        struct circumstances *facts)
{
    const struct waveform *waveform = &evidence->acquisition->waveform;
    if (!evidence->acquisition->has_waveform || evidence->chain->aspect == ASPECT_WHOLE)
        return;
    facts->record = waveform->interval * (double)waveform->count;
    facts->passing = evidence->acquisition->signal.passing;
    facts->no_period = record_too_short(evidence->acquisition, evidence->chain, setup);
}

static struct circumstances circumstances_of(const struct evidence *evidence,
                                             const struct reading *reading)
{
    const struct bench_point *point = evidence->point;
    const struct chain *chain = evidence->chain;
    const struct bench_instrument *instrument = instrument_of(evidence);
    struct circumstances facts = {
        .aspect = chain->aspect,
        .unit = point->unit,
        .value = reading->value,
        .uncertainty = reading->expanded.uncertainty,
        .expected = point->expected,
        .tolerance = point->tolerance,
        .low = -INFINITY,
        .high = INFINITY,
        .rating = NAN,
        .input_peak = NAN,
        .input_rating = NAN,
        .source_resistance = point->source.resistance,
        .scope = chain->input->vertical,
        .bare = isnan(chain->probe->tip_resistance) && chain->probe->factor == 1 &&
                chain->probe->dimension == DIMENSION_VOLTAGE,
        .ac_coupling = chain->input->ac_coupling,
        .zero_level = NAN,
        .zero_bound = NAN,
        .record = NAN,
        .mains_referenced = point->mains_referenced,
        .isolated = chain->probe->isolated,
        .overdue = is_overdue(instrument),
        .leads_age = evidence->leads_age,
        .leads_most = evidence->bench->lead_zero_s,
        .instrument = instrument->name,
        .calibration_due = instrument->calibration_due,
    };
    if (bench_of_shape(evidence->bench, point) &&
        quantity_aspect(point->quantity) == ASPECT_WHOLE) {
        facts.unit = bench_signal_unit(evidence->bench, point);
        facts.value = chain_value(chain, &reading->setup, reading->raw);
        facts.uncertainty = NAN;
        facts.expected = NAN;
    } else if (point->limits.judged == JUDGED_VALUE) {
        facts.low = point->limits.low;
        facts.high = point->limits.high;
    }
    read_ratings(evidence, &reading->setup, &facts);
    read_zero(evidence, &reading->setup, &facts);
    read_record(evidence, &reading->setup, &facts);
    return facts;
}

/* Warns of mistakes, or blocks the reading; the first that blocks is the reason. */
static bool look_for_mistakes(const struct evidence *evidence, struct reading *reading,
                              struct failure *failure)
{
    struct circumstances facts = circumstances_of(evidence, reading);
    struct mistake found[MISTAKE_COUNT];
    size_t count = mistakes_find(&facts, found);
    for (size_t i = 0; i < count; i++) {
        enum failure_code code = found[i].kind == MISTAKE_RATING ? FAILURE_RATING : FAILURE_MISTAKE;
        if (evidence->bench->policy[found[i].kind] == MISTAKE_BLOCK)
            return failure_set(failure, code, instrument_of(evidence)->name, NULL, "%s",
                               found[i].words);
        reading_warn(reading, "%s", found[i].words);
    }
    return true;
}

/* The signal that is there need not be the one that the settings speak of. */
static bool look_at_sight(const struct evidence *evidence, struct failure *failure)
{
    const struct chain *chain = evidence->chain;
    struct signal_facts signal_facts = { chain->aspect, chain->shape, frequency_of(evidence),
                                         chain->crest_factor };
    struct suitability suitability = suitability_bandwidth(&chain->abilities, &signal_facts);
    return suitability.state != SUITABILITY_NONE ||
           failure_set(failure, FAILURE_UNSUPPORTED, instrument_of(evidence)->name, NULL, "%s",
                       suitability.reason);
}

/* "; probe \"x10\" would take 0.1 %", where there is a better one. */
static void name_better(const struct evidence *evidence, const struct reading *reading, char *text,
                        size_t size)
{
    const struct bench *bench = evidence->bench;
    size_t better =
        probe_with_least_loading(evidence->chain, &reading->setup, &evidence->acquisition->signal,
                                 bench->probes, bench->probe_count);
    text[0] = '\0';
    if (better < bench->probe_count)
        snprintf(text, size, "; probe \"%.40s\" would load it less", bench->probes[better].name);
}

static void look_at_loading(const struct evidence *evidence, struct reading *reading)
{
    const struct loading *loading = &reading->loading;
    bool corrected = reading->loading_corrected;
    char better[80];
    if (!loading->known && !isnan(evidence->chain->source.resistance))
        reading_warn(reading, "loading not corrected: the input resistance is not known");
    if (!loading->known)
        return;
    bool hides = -loading->relative * fabs(reading->value) > reading->expanded.uncertainty;
    if (!(-loading->relative > evidence->bench->loading_share) && (corrected || !hides))
        return;
    name_better(evidence, reading, better, sizeof better);
    reading_warn(reading, "loading by the input lowers this reading by %.2g %%%s%s",
                 -100 * loading->relative, corrected ? ", which is corrected" : "", better);
}

/* What the point should show at the input where that is not nothing; 0 where nobody said so. */
static double expected_at_input(const struct evidence *evidence, const struct setup *setup)
{
    const struct bench_point *point = evidence->point;
    const struct limits *limits = &point->limits;
    bool judged = limits->judged == JUDGED_VALUE;
    double expected = isfinite(point->expected)    ? point->expected
                      : judged && limits->low > 0  ? limits->low
                      : judged && limits->high < 0 ? limits->high
                                                   : 0;
    return expected == 0 ? 0 : chain_input(evidence->chain, setup, expected);
}

/*
 * A ground coupling that does nothing makes any level read 0. Then the zero trace is where no zero
 * trace may be, and where the signal is or what is expected; or it moves as the signal does; or,
 * where the signal is so small that this does not show, it is the same to the last bit.
 */
static bool grounds_nothing(const struct evidence *evidence, const struct setup *setup)
{
    const struct signal *signal = &evidence->acquisition->signal, *zero = evidence->zero;
    const struct front_end *input = evidence->chain->input;
    const struct range *range = &input->ranges[setup->range];
    double step = range->resolution;
    double bound = input->baseline_divisions * range->volts_per_division + step;
    double swing = signal->high - signal->low, zero_swing = zero->high - zero->low;
    double expected = fabs(expected_at_input(evidence, setup));
    double level = fabs(zero->mean), rest = fabs(signal->mean);
    bool moves = swing > 8 * step && zero_swing > swing / 4;
    bool there = rest <= step / 2 + 2 * signal->noise;
    bool wanted = level > expected / 2 && rest < expected / 10;
    bool same = signal->mean == 0 && fabs(swing - zero_swing) < step / 1e6;
    bool alike = swing <= 8 * step || zero_swing > swing / 2;
    return moves || (level > bound && alike && (there || wanted)) ||
           (same && expected > step && expected <= bound);
}

static bool look_at_zero(const struct evidence *evidence, const struct reading *reading,
                         struct failure *failure)
{
    return !evidence->zero || !grounds_nothing(evidence, &reading->setup) ||
           failure_set(failure, FAILURE_MISTAKE, instrument_of(evidence)->name,
                       "a flat trace near the middle: look at its ground coupling and its zero",
                       "with the input grounded the trace is the signal's own");
}

/* What the scope cannot be asked for was sent before the record; since then nobody can tell. */
static void look_at_settings(const struct evidence *evidence, struct reading *reading)
{
    const struct profile *profile = instrument_of(evidence)->profile;
    char names[80] = "";
    size_t length = 0;
    for (size_t i = 0; i < SCOPE_SETTINGS; i++)
        if (profile->kind == PROFILE_SCOPE && profile->scope.cannot_tell[i])
            length += (size_t)snprintf(names + length, sizeof names - length, "%s%s",
                                       length > 0 ? ", " : "",
                                       profile_setting_name((enum scope_setting)i));
    if (length > 0)
        reading_warn(
            reading,
            "%s cannot be asked for its %s: a knob turned during the record would not show",
            instrument_of(evidence)->name, names);
}

/* A meter whose settings cannot all be asked for may have been set otherwise by hand. */
static void look_at_proof(const struct evidence *evidence, struct reading *reading)
{
    const struct profile *profile = instrument_of(evidence)->profile;
    const struct function *function = profile_function(profile, evidence->point->at_input);
    char text[64];
    if (!function || profile_unproved(profile, function, text, sizeof text)[0] == '\0')
        return;
    reading_warn(reading, "nothing proves %s %s reads: a key pressed there goes unnoticed", text,
                 instrument_of(evidence)->name);
}

bool scrutinise(const struct evidence *evidence, struct reading *reading, struct failure *failure)
{
    if (!look_at_sight(evidence, failure) || !look_at_zero(evidence, reading, failure) ||
        !look_for_mistakes(evidence, reading, failure))
        return false;
    look_at_settings(evidence, reading);
    look_at_loading(evidence, reading);
    look_at_proof(evidence, reading);
    return true;
}
