/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "try_steps.h"

#include "core/basics/notation.h"
#include "daemon/encode/encode.h"

#include <math.h>
#include <string.h>

/* Beyond what the profile itself allows for; whatever takes longer is not going to end. */
static const double patience_ms = 10000;

/* How far apart two figures may be that ought to be the same. */
static const double interval_tolerance = 0.02;

static struct deadline step_deadline(const struct trial *trial, const struct request *request)
{
    const struct profile *const profile = trial->profile;
    double ms = patience_ms + 4 * profile->protocol.reply_ms;
    if (profile->kind == PROFILE_SCOPE) {
        ms += profile->scope.acquire_ms + profile->scope.settle_ms + 2000 * request->duration;
    } else {
        const struct function *const function = profile_function(profile, request->quantity);
        ms += function->conversion_ms + function->settle_ms;
    }
    return deadline_in(ms);
}

void try_error_queue(const struct trial *trial)
{
    struct failure failure = { 0 };
    struct dialogue *const dialogue = instrument_dialogue(trial->instrument);
    if (dialogue_in_step(dialogue) &&
        !dialogue_check_errors(dialogue, deadline_in(patience_ms), &failure))
        report_failure(trial->report, &failure);
}

/* Whether the instrument still answers; if not, that is the last problem. */
static bool still_there(const struct trial *trial)
{
    struct failure failure = { 0 };
    if (dialogue_ready(instrument_dialogue(trial->instrument), deadline_in(patience_ms), &failure))
        return true;
    report_failure(trial->report, &failure);
    report_problem(trial->report, "the rest was not tried");
    return false;
}

static const char *unit_of(const struct request *request)
{
    return dimension_unit(quantity_dimension(request->quantity));
}

static const struct range *range_of(const struct trial *trial, const struct request *request)
{
    return &profile_front_end(trial->profile, request->quantity)->ranges[request->setup.range];
}

/* A reading beyond the end of its range should have come with the mark of overload. */
static void check_value(const struct trial *trial, const struct request *request,
                        const struct signal *signal)
{
    char value[NOTATION_SIZE];
    char low_text[NOTATION_SIZE];
    char high_text[NOTATION_SIZE];
    double low;
    double high;
    const struct front_end *const input = profile_front_end(trial->profile, request->quantity);
    const double step = range_of(trial, request)->resolution;
    setup_window(input, &request->setup, &low, &high);
    if (signal->low >= low - step && signal->high <= high + step)
        return;
    report_problem(trial->report,
                   "%s read without a mark of overload, but the range ends at %s and %s",
                   notation_value(value, sizeof value, signal->value, 6, unit_of(request)),
                   notation_plain(low_text, sizeof low_text, low, unit_of(request)),
                   notation_plain(high_text, sizeof high_text, high, unit_of(request)));
}

/* A grounded input shows the zero trace, which the profile says how far it may be off. */
static void check_ground(const struct trial *trial, const struct request *request,
                         const struct signal *signal)
{
    char level[NOTATION_SIZE];
    char bound[NOTATION_SIZE];
    const struct range *const range = range_of(trial, request);
    const double most =
        trial->profile->scope.front_end.baseline_divisions * range->volts_per_division +
        range->resolution;
    if (request->setup.coupling == COUPLING_GROUND && fabs(signal->mean) > most) {
        report_problem(trial->report, "the zero trace is at %s, beyond the profile's bound of %s",
                       notation_value(level, sizeof level, signal->mean, 3, "V"),
                       notation_value(bound, sizeof bound, most, 3, "V"));
    }
}

static void check_record(const struct trial *trial, const struct request *request,
                         const struct waveform *waveform)
{
    const double lasts = waveform->interval * (double)waveform->count;
    const double slack = interval_tolerance * request->duration + waveform->interval;
    if (request->duration > 0 && fabs(lasts - request->duration) > slack) {
        report_problem(trial->report, "the record lasts %g s, and %g s was set", lasts,
                       request->duration);
    }
}

static void check_acquisition(const struct trial *trial, const struct request *request,
                              const struct acquisition *acquisition)
{
    char value[NOTATION_SIZE];
    if (acquisition->overload) {
        report_outcome(trial->report, "overload");
        return;
    }
    report_outcome(
        trial->report, "reads %s",
        notation_value(value, sizeof value, acquisition->signal.value, 6, unit_of(request)));
    check_value(trial, request, &acquisition->signal);
    if (acquisition->has_waveform) {
        check_ground(trial, request, &acquisition->signal);
        check_record(trial, request, &acquisition->waveform);
    }
}

/* Makes one acquisition. Returns whether it makes sense to go on. */
static bool acquire(const struct trial *trial, const struct request *request)
{
    struct failure failure = { 0 };
    struct acquisition acquisition;
    if (instrument_acquire(trial->instrument, request, step_deadline(trial, request), &acquisition,
                           NULL, &failure))
        check_acquisition(trial, request, &acquisition);
    else
        report_failure(trial->report, &failure);
    try_error_queue(trial);
    return still_there(trial);
}

static bool try_range(const struct trial *trial, const struct request *request)
{
    char range[NOTATION_SIZE];
    notation_plain(range, sizeof range, range_of(trial, request)->full_scale, unit_of(request));
    return report_begin(trial->report, "%s, range %s, input %d", quantity_name(request->quantity),
                        range, request->input) &&
           acquire(trial, request);
}

static bool try_function(const struct trial *trial, const struct function *function)
{
    struct request request = { .quantity = function->quantity, .input = 1 };
    for (size_t i = 0; i < function->front_end.count; i++) {
        request.setup.range = i;
        if (!try_range(trial, &request))
            return false;
    }
    return true;
}

static void try_meter(const struct trial *trial)
{
    const struct profile *const profile = trial->profile;
    for (size_t i = 0; i < profile->function_count; i++)
        if (!try_function(trial, &profile->functions[i]))
            return;
    struct request request = { .quantity = profile->functions[0].quantity };
    request.setup.range = profile->functions[0].front_end.count - 1;
    for (request.input = 2; request.input <= profile_inputs(profile); request.input++)
        if (!try_range(trial, &request))
            return;
}

/* One scope step; the title names all that is set. */
static bool try_setup(const struct trial *trial, const struct request *request)
{
    char step[NOTATION_SIZE];
    char offset[NOTATION_SIZE];
    char duration[NOTATION_SIZE];
    const struct range *const range = range_of(trial, request);
    return report_begin(trial->report, "input %d, %s/div, %s, offset %s, position %g div, %s",
                        request->input,
                        notation_plain(step, sizeof step, range->volts_per_division, "V"),
                        coupling_name(request->setup.coupling),
                        notation_plain(offset, sizeof offset, request->setup.offset, "V"),
                        request->setup.position / range->volts_per_division,
                        request->duration > 0
                            ? notation_plain(duration, sizeof duration, request->duration, "s")
                            : "default time base") &&
           acquire(trial, request);
}

static struct request scope_request(const struct trial *trial)
{
    const size_t widest = trial->profile->scope.front_end.count - 1;
    return (struct request) { .quantity = QUANTITY_DC_VOLTAGE,
                              .input = 1,
                              .setup = { .range = widest, .coupling = COUPLING_DC } };
}

static bool try_vertical(const struct trial *trial)
{
    struct request request = scope_request(trial);
    for (size_t i = 0; i < trial->profile->scope.front_end.count; i++) {
        request.setup.range = i;
        if (!try_setup(trial, &request))
            return false;
    }
    return true;
}

static bool try_couplings(const struct trial *trial)
{
    struct request request = scope_request(trial);
    request.setup.coupling = COUPLING_AC;
    if (trial->profile->scope.front_end.ac_coupling && !try_setup(trial, &request))
        return false;
    request.setup.coupling = COUPLING_GROUND;
    return trial->profile->scope.coupling_ground[0] == '\0' || try_setup(trial, &request);
}

/* The ends of the span on every range that differs in it from the one before. */
static bool try_offsets(const struct trial *trial)
{
    const struct front_end *const input = &trial->profile->scope.front_end;
    struct request request = scope_request(trial);
    double before = 0;
    for (size_t i = 0; i < input->count; i++) {
        const double span = input->ranges[i].offset_span;
        request.setup.range = i;
        for (int sign = -1; span > 0 && span != before && sign <= 1; sign += 2) {
            request.setup.offset = sign * span;
            if (!try_setup(trial, &request))
                return false;
        }
        before = span;
    }
    return true;
}

static bool try_positions(const struct trial *trial)
{
    const struct front_end *const input = &trial->profile->scope.front_end;
    struct request request = scope_request(trial);
    const double division = input->ranges[request.setup.range].volts_per_division;
    for (int sign = -1; input->position_divisions > 0 && sign <= 1; sign += 2) {
        request.setup.position = sign * input->position_divisions * division;
        if (!try_setup(trial, &request))
            return false;
    }
    return true;
}

static bool try_durations(const struct trial *trial)
{
    struct request request = scope_request(trial);
    for (size_t i = 0; i < trial->profile->scope.duration_count; i++) {
        request.duration = trial->profile->scope.durations[i];
        if (!try_setup(trial, &request))
            return false;
    }
    return true;
}

static void try_scope(const struct trial *trial)
{
    if (!try_vertical(trial) || !try_couplings(trial) || !try_offsets(trial) ||
        !try_positions(trial) || !try_durations(trial))
        return;
    struct request request = scope_request(trial);
    for (request.input = 2; request.input <= profile_inputs(trial->profile); request.input++)
        if (!try_setup(trial, &request))
            return;
}

void try_profile(const struct trial *trial)
{
    struct failure failure = { 0 };
    if (!report_begin(trial->report, "set-up"))
        return;
    if (!instrument_ready(trial->instrument, deadline_in(patience_ms), &failure)) {
        report_failure(trial->report, &failure);
        report_problem(trial->report, "the rest was not tried");
    } else if (trial->profile->kind == PROFILE_METER) {
        try_meter(trial);
    } else {
        try_scope(trial);
    }
}
