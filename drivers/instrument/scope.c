/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope.h"

#include "core/waveform/estimate.h"
#include "core/waveform/uncoupled.h"
#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"
#include "scope_proof.h"
#include "scope_trigger.h"

#include <math.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>

/* How long to leave an instrument in peace between two questions whether it is done. */
enum { DONE_POLL_MS = 2 };

/* How far the instrument's own sample interval may be from the one that was asked for. */
static const double interval_tolerance = 0.02;

static struct command_values values_for(const struct scope *scope, const struct request *request)
{
    const struct range *range = &scope->front_end.ranges[request->setup.range];
    struct command_values values = command_values_none();
    values.input = request->input;
    values.full_scale = range->full_scale;
    values.volts_per_division = range->volts_per_division;
    values.offset = request->setup.offset;
    values.position_volts = request->setup.position;
    values.position = request->setup.position / range->volts_per_division;
    values.points = (double)scope->points;
    values.duration = scope->durations[scope_record(scope, request->duration)];
    values.time_per_division = values.duration / scope->time_divisions;
    values.interval = values.duration / values.points;
    trigger_fill(request->trigger, scope, &request->setup, &values);
    return values;
}

static const char *coupling_text(const struct scope *scope, enum coupling coupling)
{
    switch (coupling) {
    case COUPLING_AC:
        return scope->coupling_ac;
    case COUPLING_GROUND:
        return scope->coupling_ground;
    default:
        return scope->coupling_dc;
    }
}

static bool set_up(struct panel *panel, const struct scope *scope, const struct request *request,
                   const struct command_values *values, struct deadline deadline,
                   struct failure *failure)
{
    int input = request->input;
    bool changed = false;
    scope_forget_unproved(panel, scope, input);
    bool done =
        panel_set_all(panel, 1, SLOT_TIMEBASE, &scope->timebase, values, &changed, deadline,
                      failure) &&
        panel_set(panel, input, SLOT_COUPLING, coupling_text(scope, request->setup.coupling),
                  values, &changed, deadline, failure) &&
        panel_set(panel, input, SLOT_VERTICAL, scope->vertical, values, &changed, deadline,
                  failure) &&
        panel_set(panel, input, SLOT_OFFSET, scope->offset, values, &changed, deadline, failure) &&
        panel_set(panel, input, SLOT_POSITION, scope->position, values, &changed, deadline,
                  failure) &&
        trigger_set(panel, scope, request->trigger, values, &changed, deadline, failure);
    if (changed)
        panel->proved = 0;
    return done && (!changed || panel_settle(panel, scope->settle_ms, deadline, failure));
}

/* The answer to "are you done?". */
struct progress {
    const struct check *check;
    bool done;
};

static bool read_progress(const struct reply *reply, void *out, struct failure *failure)
{
    (void)failure;
    struct progress *progress = out;
    progress->done = pattern_whole(&progress->check->pattern, reply->bytes, reply->count);
    return true;
}

static bool wait_done(struct panel *panel, const struct scope *scope, double patience_ms,
                      struct deadline deadline, struct failure *failure)
{
    const struct check *check = &scope->done;
    struct progress progress = { check, false };
    struct deadline patience = deadline_sooner(deadline, deadline_in(patience_ms));
    for (;;) {
        if (!dialogue_ask(panel->dialogue, check->query, patience_ms, read_progress, &progress,
                          deadline, failure))
            return false;
        if (progress.done)
            return true;
        if (deadline_passed(patience)) {
            dialogue_suspect(panel->dialogue);
            return failure_set(
                failure, deadline_passed(deadline) ? FAILURE_DEADLINE : FAILURE_TIMEOUT,
                panel->name, NULL, "the acquisition did not finish within %g ms", patience_ms);
        }
        poll(NULL, 0, DONE_POLL_MS);
    }
}

/*
 * A start that was refused would leave the last record to be fetched as a
 * fresh one, so the error queue is read where there is one.
 */
static bool acquire(struct panel *panel, const struct scope *scope, struct trigger *trigger,
                    const struct command_values *values, struct deadline deadline,
                    struct failure *failure)
{
    char filled[COMMAND_SIZE];
    for (size_t i = 0; i < scope->acquire.count; i++)
        if (!command_fill(scope->acquire.texts[i], values, filled, sizeof filled, failure) ||
            !dialogue_command(panel->dialogue, filled, deadline, failure))
            return false;
    double patience = scope->acquire_ms + values->duration * 1000;
    bool done = trigger != NULL
                    ? trigger_wait(panel, scope, trigger, patience, deadline, failure)
                    : !scope->done.query[0] || wait_done(panel, scope, patience, deadline, failure);
    return done && dialogue_check_errors(panel->dialogue, deadline, failure);
}

static bool read_interval(const struct reply *reply, void *out, struct failure *failure)
{
    enum number_special special;
    double interval;
    if (!response_number(reply->bytes, reply->count, &interval, &special, failure))
        return false;
    if (special != SPECIAL_NONE || !(interval > 0))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a sample interval above zero",
                           "'%.64s'", reply->bytes);
    *(double *)out = interval;
    return true;
}

/*
 * The sample interval. A scope that tells it is asked, since a count of
 * points or intervals that is off by one shows here; it must agree with what
 * was set, for another value means that the time base is not the one we set.
 */
static bool sample_interval(struct panel *panel, const struct scope *scope,
                            const struct command_values *values, double *interval,
                            struct deadline deadline, struct failure *failure)
{
    const struct check *check = &scope->interval;
    *interval = values->interval;
    if (!check->query[0])
        return true;
    char query[COMMAND_SIZE];
    double told;
    if (!command_fill(check->query, values, query, sizeof query, failure) ||
        !dialogue_ask(panel->dialogue, query, 0, read_interval, &told, deadline, failure))
        return false;
    if (fabs(told - *interval) > interval_tolerance * *interval) {
        dialogue_suspect(panel->dialogue);
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, panel->name, NULL,
                           "sample interval is %g s, not the %g s that was set", told, *interval);
    }
    *interval = told;
    return true;
}

/*
 * Fetches the samples, and asks for the proof behind them: in the same message
 * where the profile says so. NULL for `proof`: nothing is asked.
 */
static bool fetch(struct panel *panel, const struct scope *scope,
                  const struct command_values *values, struct proof *proof, struct samples *samples,
                  struct deadline deadline, struct failure *failure)
{
    char query[COMMAND_SIZE];
    const struct question question = { query, samples_read, samples };
    if (!command_fill(scope->waveform.query, values, query, sizeof query, failure))
        return false;
    if (proof != NULL && proof->together)
        return proof_read(proof, false, &question, 0, panel->dialogue, deadline, failure);
    return dialogue_read(panel->dialogue, query, 0, samples_read, samples, deadline, failure) &&
           (proof == NULL || proof_ask(proof, true, panel->dialogue, deadline, failure));
}

static void describe(struct acquisition *acquisition, const struct samples *samples,
                     const struct waveform *waveform, const struct estimate *estimate)
{
    acquisition->overload = samples->clipped_high || samples->clipped_low;
    acquisition->side = samples->clipped_high == samples->clipped_low ? SIDE_UNKNOWN
                        : samples->clipped_high                       ? SIDE_HIGH
                                                                      : SIDE_LOW;
    acquisition->has_waveform = true;
    acquisition->waveform = *waveform;
    struct signal signal = { .value = estimate->value,
                             .mean = estimate->mean,
                             .low = waveform->minimum,
                             .high = waveform->maximum,
                             .noise = waveform->noise,
                             .doubt = estimate->doubt,
                             .samples = (double)waveform->count,
                             .frequency = waveform->frequency,
                             .scatter = estimate->scatter,
                             .edges = estimate->edges,
                             .averaged = estimate->averaged,
                             .passing = estimate->passing };
    acquisition->signal = signal;
}

/* Rounding is the same each time; what differs between the two was moved by hand. */
static bool same_place(const struct panel *panel, const struct setup *before,
                       const struct setup *behind, struct failure *failure)
{
    return (before->offset == behind->offset && before->position == behind->position) ||
           failure_set(failure, FAILURE_CHANGED, panel->name, NULL,
                       "offset or position moved during the record");
}

/*
 * What is set is proved on both sides of the record: the proof before catches
 * what was turned and is turned back during it. The one behind it comes after
 * the samples, since an instrument may scale them as they are fetched. A panel
 * that is locked is proved once after each change of ours.
 */
static bool digitise(struct panel *panel, const struct profile *profile,
                     const struct request *request, struct deadline deadline,
                     struct samples *samples, double *interval, struct failure *failure)
{
    const struct scope *scope = &profile->scope;
    struct command_values values = values_for(scope, request);
    struct setup told;
    struct proof proof;
    proof_begin(&proof, panel->name, profile->proof == PROOF_SAME_MESSAGE);
    if (!scope_proof_make(&proof, profile, request, &values, &told, failure) ||
        !set_up(panel, scope, request, &values, deadline, failure))
        return false;
    bool asks = !profile->locks_panel || panel->proved != request->input;
    if (asks && !proof_ask(&proof, false, panel->dialogue, deadline, failure))
        return false;
    if (asks)
        panel->told = told;
    samples->scope = scope;
    samples->setup = &panel->told;
    if (!acquire(panel, scope, request->trigger, &values, deadline, failure) ||
        !sample_interval(panel, scope, &values, interval, deadline, failure) ||
        !fetch(panel, scope, &values, asks ? &proof : NULL, samples, deadline, failure) ||
        (asks && !same_place(panel, &panel->told, &told, failure)))
        return false;
    panel->proved = request->input;
    return true;
}

/*
 * A peak-to-peak value behind ac coupling: that of the record with what the coupling took put back, which
 * needs whole periods, for the mean.
 */
static bool uncouple(const struct panel *panel, double corner, const struct series *series,
                     struct acquisition *acquisition, struct failure *failure)
{
    const struct waveform *seen = &acquisition->waveform;
    struct signal *signal = &acquisition->signal;
    struct waveform before;
    if (!(seen->periods > 0) || !(corner > 0))
        return true;
    double *values = malloc(series->count * sizeof *values);
    if (!values)
        return failure_set(failure, FAILURE_NO_MEMORY, panel->name, NULL, "%zu samples",
                           series->count);
    for (size_t i = 0; i < series->count; i++)
        values[i] = series_value(series, series_at(series, i));
    uncoupled_restore(values, series->count, series->interval, seen->mean, corner);
    struct series restored = series_of_reals(values, series->count, series->interval);
    restored.step = series->step;
    bool done = waveform_measure_series(&restored, &before);
    if (done) {
        struct estimate estimate =
            estimate_aspect(&restored, &before, ASPECT_PEAK_TO_PEAK, series->step);
        signal->uncoupled = estimate.value / signal->value;
        signal->value = estimate.value;
        signal->doubt = estimate.doubt;
        signal->scatter = estimate.scatter;
        signal->averaged = estimate.averaged;
    }
    free(values);
    return done || failure_set(failure, FAILURE_NO_VALUE, panel->name, "a record of finite samples",
                               "%zu samples that cannot be measured", series->count);
}

bool scope_acquire(struct panel *panel, const struct profile *profile,
                   const struct request *request, struct deadline deadline, struct record *record,
                   struct acquisition *acquisition, struct failure *failure)
{
    struct samples samples = { .record = record };
    struct failure own = { 0 };
    double interval;
    if (!digitise(panel, profile, request, deadline, &samples, &interval, &own)) {
        panel->proved = 0;
        if (own.code != FAILURE_NOT_CALIBRATED && own.code != FAILURE_NO_TRIGGER)
            dialogue_suspect(panel->dialogue);
        return failure_set(failure, own.code, own.where, own.expected, "%s", own.what);
    }
    struct waveform waveform;
    double step = profile->scope.front_end.ranges[request->setup.range].resolution;
    struct series series = series_of_reals(record->volts, samples.count, interval);
    series.step = step;
    if (!(request->whole ? waveform_measure_whole(&series, &waveform)
                         : waveform_measure_series(&series, &waveform)))
        return failure_set(failure, FAILURE_NO_VALUE, panel->name, "a record of finite samples",
                           "%zu samples that cannot be measured", samples.count);
    struct estimate estimate =
        estimate_aspect(&series, &waveform, quantity_aspect(request->quantity), step);
    describe(acquisition, &samples, &waveform, &estimate);
    return quantity_aspect(request->quantity) != ASPECT_PEAK_TO_PEAK ||
           request->setup.coupling != COUPLING_AC ||
           uncouple(panel, profile->scope.front_end.ac_corner, &series, acquisition, failure);
}

/*
 * As digitise(), with one record of both inputs. Each side of it is proved for both.
 * `before` is where the samples' setups are kept.
 */
static bool digitise_pair(struct panel *panel, const struct profile *profile,
                          const struct request requests[2], struct deadline deadline,
                          struct setup before[2], struct samples samples[2], double *interval,
                          struct failure *failure)
{
    const struct scope *scope = &profile->scope;
    struct command_values values[2];
    struct setup told[2];
    struct proof proofs[2];
    for (int i = 0; i < 2; i++) {
        values[i] = values_for(scope, &requests[i]);
        proof_begin(&proofs[i], panel->name, profile->proof == PROOF_SAME_MESSAGE);
        if (!scope_proof_make(&proofs[i], profile, &requests[i], &values[i], &told[i], failure) ||
            !set_up(panel, scope, &requests[i], &values[i], deadline, failure))
            return false;
    }
    for (int i = 0; i < 2; i++) {
        if (!proof_ask(&proofs[i], false, panel->dialogue, deadline, failure))
            return false;
        before[i] = told[i];
        samples[i].scope = scope;
        samples[i].setup = &before[i];
    }
    if (!acquire(panel, scope, NULL, &values[0], deadline, failure) ||
        !sample_interval(panel, scope, &values[0], interval, deadline, failure))
        return false;
    for (int i = 0; i < 2; i++)
        if (!fetch(panel, scope, &values[i], &proofs[i], &samples[i], deadline, failure) ||
            !same_place(panel, &before[i], &told[i], failure))
            return false;
    /* What was proved of the first input may have been turned while the second was fetched. */
    return proof_ask(&proofs[0], true, panel->dialogue, deadline, failure) &&
           same_place(panel, &before[0], &told[0], failure);
}

bool scope_acquire_pair(struct panel *panel, const struct profile *profile,
                        const struct request requests[2], struct deadline deadline,
                        struct record records[2], struct paired *paired, struct failure *failure)
{
    struct samples samples[2] = { { .record = &records[0] }, { .record = &records[1] } };
    struct setup before[2];
    struct failure own = { 0 };
    double interval;
    bool done = digitise_pair(panel, profile, requests, deadline, before, samples, &interval, &own);
    panel->proved = 0;
    if (!done) {
        if (own.code != FAILURE_NOT_CALIBRATED)
            dialogue_suspect(panel->dialogue);
        return failure_set(failure, own.code, own.where, own.expected, "%s", own.what);
    }
    paired->interval = interval;
    for (int i = 0; i < 2; i++) {
        paired->count[i] = samples[i].count;
        paired->overload[i] = samples[i].clipped_high || samples[i].clipped_low;
    }
    return true;
}
