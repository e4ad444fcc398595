/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "encode.h"

#include "core/input/tuned_circuit.h"
#include "core/uncertainty/expand.h"
#include "daemon/bench/point_chain.h"
#include "encode_analysis.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

char *encode_time(char text[ENCODE_TIME_SIZE], struct wall_time time)
{
    const struct timespec whole = wall_time_timespec(time);
    struct tm parts;
    size_t length = 0;
    if (gmtime_r(&whole.tv_sec, &parts) != NULL)
        length = strftime(text, ENCODE_TIME_SIZE - 6, "%Y-%m-%dT%H:%M:%S", &parts);
    snprintf(text + length, ENCODE_TIME_SIZE - length, ".%03dZ",
             (int)(whole.tv_nsec / MILLISECOND_NS));
    return text;
}

void encode_wall_time(struct text *text, const char *key, struct wall_time time)
{
    char written[ENCODE_TIME_SIZE];
    text_member_string(text, key, encode_time(written, time));
}

const char *coupling_name(enum coupling coupling)
{
    static const char *const names[] = {
        [COUPLING_DC] = "dc",
        [COUPLING_AC] = "ac",
        [COUPLING_GROUND] = "ground",
    };
    return names[coupling];
}

static const struct bench_instrument *instrument_of(const struct occasion *occasion)
{
    return &occasion->bench->instruments[occasion->point->instrument];
}

static const struct front_end *input_of(const struct bench *bench, const struct bench_point *point)
{
    return profile_front_end(bench->instruments[point->instrument].profile, point->at_input);
}

void encode_setup(struct text *text, const struct front_end *input, const struct setup *setup)
{
    const struct range *range = &input->ranges[setup->range];
    text_member_number(text, "full_scale", range->full_scale);
    if (!input->vertical)
        return;
    text_member_number(text, "volts_per_division", range->volts_per_division);
    text_member_number(text, "offset", setup->offset);
    text_member_number(text, "position", setup->position);
    text_member_string(text, "coupling", coupling_name(setup->coupling));
}

static void encode_instrument(struct text *text, const struct occasion *occasion)
{
    const struct bench_instrument *instrument = instrument_of(occasion);
    text_member_open(text, "instrument", '{');
    text_member_string(text, "name", instrument->name);
    text_member_string(text, "identity", occasion->identity);
    text_member_string(text, "calibration_due", instrument->calibration_due);
    text_member_string(text, "certificate", instrument->certificate);
    text_close(text, '}');
}

static void encode_probe(struct text *text, const struct probe *probe)
{
    text_member_open(text, "probe", '{');
    text_member_string(text, "name", probe->name);
    text_member_number(text, "factor", probe->factor);
    text_member_string(text, "unit", probe->unit);
    text_close(text, '}');
}

/* How far the trace is from where zero deflection is, for the aspects that are one level. */
static double deflection_divisions(const struct bench_point *point, const struct range *range,
                                   const struct reading *reading)
{
    enum aspect aspect = quantity_aspect(point->at_input);
    if (aspect_is_rms(aspect) || aspect == ASPECT_WHOLE)
        return NAN;
    double centre = aspect_ignores_mean(aspect) ? 0 : reading->setup.offset;
    return (reading->raw - centre) / range->volts_per_division;
}

static void encode_range(struct text *text, const struct occasion *occasion,
                         const struct reading *reading)
{
    const struct bench_point *point = occasion->point;
    const struct front_end *input = input_of(occasion->bench, point);
    const struct range *range = &input->ranges[reading->setup.range];
    double factor = fabs(occasion->bench->probes[point->probe].factor);
    text_member_open(text, "range", '{');
    encode_setup(text, input, &reading->setup);
    text_member_number(text, "at_tip", range->full_scale * factor);
    if (bench_of_shape(occasion->bench, point))
        text_member_string(text, "unit", bench_signal_unit(occasion->bench, point));
    text_member_number(text, "resolution", range->resolution);
    if (input->vertical)
        text_member_number(text, "deflection_divisions",
                           deflection_divisions(point, range, reading));
    text_close(text, '}');
}

/*
 * What the load does to an uncorrected reading, in the unit of the reading:
 * the corrected value is the true one, so the error is its share; an
 * uncorrected value times the factor is the true one.
 */
static void encode_loading(struct text *text, const struct reading *reading)
{
    const struct loading *loading = &reading->loading;
    if (!loading->known)
        return;
    double error = reading->loading_corrected ? reading->value * loading->relative
                                              : reading->value * (1 - loading->factor);
    text_member_open(text, "loading", '{');
    text_member_number(text, "error", error);
    text_member_bool(text, "corrected", reading->loading_corrected);
    if (loading->frequency > 0)
        text_member_number(text, "frequency", loading->frequency);
    text_close(text, '}');
}

void encode_limits(struct text *text, const struct limits *limits)
{
    if (!limits_present(limits))
        return;
    text_member_open(text, "limits", '{');
    text_member_number(text, "low", limits->low);
    text_member_number(text, "high", limits->high);
    text_member_string(text, "decision", decision_name(limits->decision));
    if (limits->decision == DECISION_GUARDED && limits->guard != 1)
        text_member_number(text, "guard", limits->guard);
    if (limits->decision == DECISION_RISK)
        text_member_number(text, "risk", limits->risk);
    if (limits->judged != JUDGED_VALUE)
        text_member_string(text, "judge", judged_name(limits->judged));
    text_close(text, '}');
}

static void encode_budget(struct text *text, const struct budget *budget)
{
    text_member_open(text, "budget", '[');
    for (size_t i = 0; i < budget->count; i++) {
        const struct contribution *term = &budget->terms[i];
        text_open(text, '{');
        text_member_string(text, "source", term->source);
        text_member_number(text, "standard", term->standard);
        text_member_string(text, "shape", shape_name(term->shape));
        text_member_number(text, "sensitivity", term->sensitivity);
        text_member_number(text, "degrees_of_freedom", term->freedom);
        text_close(text, '}');
    }
    text_close(text, ']');
}

static void encode_steps(struct text *text, const struct front_end *input,
                         const struct reading *reading)
{
    text_member_open(text, "steps", '[');
    for (size_t i = 0; i < reading->step_count; i++) {
        const struct plan_step *step = &reading->steps[i];
        text_open(text, '{');
        encode_setup(text, input, &step->setup);
        text_member_string(text, "outcome", step_outcome_name(step->outcome));
        text_member_number(text, "raw", step->value);
        text_close(text, '}');
    }
    text_close(text, ']');
}

static void encode_warnings(struct text *text, const struct reading *reading)
{
    text_member_open(text, "warnings", '[');
    for (size_t i = 0; i < reading->warning_count; i++)
        text_string(text, reading->warnings[i]);
    text_close(text, ']');
}

void encode_resonance(struct text *text, const struct bench *bench, const struct bench_point *point,
                      const struct setup *setup)
{
    struct chain chain;
    if (isnan(point->tuned_frequency) || !point_chain(bench, point, &chain, NULL))
        return;
    double capacitance = chain_load(&chain, setup).capacitance;
    double loaded = tuned_loaded(point->tuned_frequency, point->tuned_capacitance, capacitance);
    text_member_open(text, "resonance", '{');
    text_member_number(text, "frequency", point->tuned_frequency);
    text_member_number(text, "added_capacitance", capacitance);
    text_member_number(text, "loaded", loaded);
    text_member_number(text, "shift", loaded - point->tuned_frequency);
    text_close(text, '}');
}

static void encode_occasion(struct text *text, const struct occasion *occasion)
{
    char time[ENCODE_TIME_SIZE];
    text_member_string(text, "time", encode_time(time, occasion->time));
    text_member_integer(text, "sequence", (int64_t)occasion->sequence);
    encode_instrument(text, occasion);
    encode_probe(text, &occasion->bench->probes[occasion->point->probe]);
    text_member_integer(text, "input", occasion->point->input);
}

static void encode_result(struct text *text, const struct occasion *occasion, double value,
                          const struct expanded *expanded)
{
    text_key(text, "value");
    text_number(text, value);
    text_member_string(text, "unit", occasion->point->unit);
    text_key(text, "uncertainty");
    text_number(text, expanded->uncertainty);
    text_member_number(text, "standard_uncertainty", expanded->standard);
    text_member_number(text, "coverage_factor", expanded->coverage);
    text_member_number(text, "degrees_of_freedom", expanded->freedom);
    text_member_string(text, "coverage_method", coverage_method_name(expanded->method));
}

/* What was judged in place of the value: its difference to or ratio over a reference. */
static void encode_comparison(struct text *text, const struct occasion *occasion,
                              const struct reading *reading)
{
    const struct bench_point *point = occasion->point;
    const struct comparison *comparison = &reading->comparison;
    if (!reading->compared)
        return;
    text_member_open(text, "comparison", '{');
    text_member_string(text, "judge", judged_name(point->limits.judged));
    if (point->reference != BENCH_NO_POINT)
        text_member_string(text, "point", occasion->bench->points[point->reference].name);
    if (point->stored.found != 0) {
        text_member_string(text, "point", point->stored.point);
        text_member_integer(text, "reference_id", point->stored.found);
    }
    text_member_number(text, "reference", reading->reference);
    text_member_number(text, "value", comparison->value);
    text_member_string(text, "unit", point->limits.judged == JUDGED_RATIO ? "" : point->unit);
    text_member_number(text, "uncertainty", comparison->expanded.uncertainty);
    text_member_number(text, "standard_uncertainty", comparison->expanded.standard);
    text_member_number(text, "coverage_factor", comparison->expanded.coverage);
    text_member_number(text, "degrees_of_freedom", comparison->expanded.freedom);
    text_member_string(text, "coverage_method", coverage_method_name(comparison->expanded.method));
    text_close(text, '}');
}

static void encode_judgement(struct text *text, const struct judgement *judgement)
{
    text_member_string(text, "verdict", verdict_name(judgement->verdict));
    text_member_number(text, "guard_band", judgement->guard_band);
    text_member_number(text, "conformity_probability", judgement->probability);
    text_member_number(text, "test_uncertainty_ratio", judgement->ratio);
}

void encode_reading(struct text *text, const struct occasion *occasion,
                    const struct reading *reading)
{
    double value, uncertainty;
    if (!reading_value(reading, &value, &uncertainty)) {
        text->failed = true;
        return;
    }
    text_open(text, '{');
    text_member_string(text, "point", occasion->point->name);
    text_member_string(text, "quantity", quantity_name(occasion->point->quantity));
    if (occasion->order != NULL) {
        text_key(text, "job");
        text_json(text, occasion->order, strlen(occasion->order));
    }
    encode_result(text, occasion, value, &reading->expanded);
    encode_occasion(text, occasion);
    encode_range(text, occasion, reading);
    text_member_number(text, "raw", reading->raw);
    text_member_integer(text, "repeats", (int64_t)reading->repeats);
    text_member_number(text, "frequency", occasion->frequency);
    encode_loading(text, reading);
    encode_resonance(text, occasion->bench, occasion->point, &reading->setup);
    encode_limits(text, &occasion->point->limits);
    encode_comparison(text, occasion, reading);
    encode_judgement(text, &reading->judgement);
    encode_budget(text, &reading->budget);
    encode_steps(text, input_of(occasion->bench, occasion->point), reading);
    encode_warnings(text, reading);
    text_close(text, '}');
}

void encode_stored(struct text *text, const struct text *reading, int64_t id, const char *warning)
{
    static const char end[] = "]}";
    size_t length = reading->length;
    if (reading->failed || length < sizeof end - 1) {
        text->failed = true;
        return;
    }
    text_raw(text, reading->bytes, length - (sizeof end - 1));
    if (warning != NULL)
        text_string(text, warning);
    text_close(text, ']');
    text_member_bool(text, "stored", id != 0);
    if (id != 0)
        text_member_integer(text, "id", id);
    text_close(text, '}');
}

static void encode_samples(struct text *text, const struct capture *capture, size_t most)
{
    size_t stride = (capture->count + most - 1) / most;
    stride = stride > 0 ? stride : 1;
    text_member_number(text, "interval", capture->interval * (double)stride);
    text_member_integer(text, "recorded", (int64_t)capture->count);
    text_member_integer(text, "count", (int64_t)((capture->count + stride - 1) / stride));
    text_member_open(text, "samples", '[');
    for (size_t i = 0; i < capture->count; i += stride)
        text_number(text, capture->samples[i]);
    text_close(text, ']');
}

/* What the record waited for, and where in it that is. */
static void encode_await(struct text *text, const struct await *await)
{
    if (!await->given)
        return;
    text_key(text, "trigger");
    text_open(text, '{');
    text_member_string(text, "way", await->when.rising ? "rises" : "falls");
    text_member_number(text, "level", await->when.level);
    text_member_number(text, "at", await->at);
    text_member_number(text, "waited_s", await->waited);
    text_member_number(text, "watched_s", await->watched);
    text_close(text, '}');
}

void encode_capture(struct text *text, const struct occasion *occasion,
                    const struct capture *capture, const struct await *await, size_t most)
{
    const struct reading *reading = &capture->reading;
    text_open(text, '{');
    text_member_string(text, "point", occasion->point->name);
    const char *unit = bench_signal_unit(occasion->bench, occasion->point);
    text_member_string(text, "unit", unit);
    encode_occasion(text, occasion);
    encode_range(text, occasion, reading);
    encode_await(text, await);
    encode_samples(text, capture, most);
    encode_analysis(text, &capture->analysis);
    encode_shapes(text, &capture->shapes, unit);
    if (reading->failure.code != FAILURE_NONE) {
        text_key(text, "failure");
        encode_failure_data(text, &reading->failure, occasion->bench, NULL, NULL);
    }
    encode_steps(text, input_of(occasion->bench, occasion->point), reading);
    encode_warnings(text, reading);
    text_close(text, '}');
}

void encode_failure_data(struct text *text, const struct failure *failure,
                         const struct bench *bench, const struct bench_point *point,
                         const struct reading *reading)
{
    text_open(text, '{');
    text_member_string(text, "reason", failure_reason(failure->code));
    text_member_string(text, "where", failure->where);
    text_member_string(text, "what", failure->what);
    text_member_string(text, "expected", failure->expected);
    if (failure->retry_ms > 0)
        text_member_integer(text, "retry_ms", failure->retry_ms);
    if (point != NULL)
        text_member_string(text, "point", point->name);
    if (point != NULL && reading != NULL && reading->step_count > 0)
        encode_steps(text, input_of(bench, point), reading);
    text_close(text, '}');
}

void encode_error(struct text *text, const struct failure *failure, const struct bench *bench,
                  const struct bench_point *point, const struct reading *reading)
{
    text_open(text, '{');
    text_member_integer(text, "code", failure_rpc_code(failure->code));
    text_member_string(text, "message", failure_reason(failure->code));
    text_key(text, "data");
    encode_failure_data(text, failure, bench, point, reading);
    text_close(text, '}');
}

/* The reading of the store that the limits refer to; without "id" there is none. */
static void encode_reference(struct text *text, const struct bench_point *point,
                             struct wall_time now)
{
    const struct bench_stored *stored = &point->stored;
    if (stored->point[0] == '\0')
        return;
    text_member_open(text, "reference", '{');
    text_member_string(text, "point", stored->point);
    if (stored->found != 0) {
        text_member_integer(text, "id", stored->found);
        text_member_number(text, "value", point->limits.reference);
        text_member_number(text, "uncertainty", point->limits.reference_uncertainty);
        text_member_string(text, "verdict", stored->verdict);
        encode_wall_time(text, "time", stored->found_at);
        text_member_integer(text, "age_s", wall_time_since(now, stored->found_at).ns / SECOND_NS);
    }
    text_close(text, '}');
}

void encode_point(struct text *text, const struct bench *bench, const struct bench_point *point,
                  struct wall_time now)
{
    text_open(text, '{');
    text_member_string(text, "name", point->name);
    text_member_string(text, "quantity", quantity_name(point->quantity));
    text_member_string(text, "unit", point->unit);
    text_member_string(text, "instrument", bench->instruments[point->instrument].name);
    text_member_integer(text, "input", point->input);
    text_member_string(text, "probe", bench->probes[point->probe].name);
    text_member_number(text, "expected", point->expected);
    encode_limits(text, &point->limits);
    encode_reference(text, point, now);
    text_member_string(text, "place", point->place);
    if (bench_by_hand(bench, point))
        text_member_bool(text, "by_hand", true);
    text_member_string(text, "caution", point->caution);
    text_close(text, '}');
}
