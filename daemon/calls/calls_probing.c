/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Methods that look at the probing itself: a point through two loads, a probe
 * on a square wave, leads that are shorted. Each is made of ordinary measurements.
 */
#include "calls.h"

#include "core/input/compensation.h"
#include "core/input/two_load.h"
#include "daemon/basics/wall_clock.h"
#include "daemon/bench/point_chain.h"
#include "daemon/measure/leads.h"
#include "encode_findings.h"
#include "methods.h"
#include "service.h"

#include <math.h>
#include <stdlib.h>

/* The coverage factor that results are stated with: two sigma. */
static const double coverage = 2;

/* |ratio - 1| up to which a probe counts as compensated. */
static const double compensated = 0.01;

/* How much longer one half of a square wave may be than the other, of its length. */
static const double evenness = 0.1;

/* Two measurements under way, one after the other. */
struct waiting_call {
    struct service *service;
    struct rpc_call *call;
    char second[BENCH_NAME]; /* unload: the other point; empty once it is under way */
    struct moment until;     /* when to be answered at the latest */
    double frequency;        /* compensate: where the error is wanted; NAN: nowhere */
    struct loaded_reading first;
};

static void refuse(struct waiting_call *waiting, const struct failure *failure,
                   const struct job *job)
{
    call_refuse_with(waiting->service->loop, waiting->call, failure,
                     job != NULL ? job->bench : NULL, job != NULL ? job->point : NULL,
                     job != NULL ? &job->capture.reading : NULL);
    free(waiting);
}

/*
 * Makes the job one of a point's leads, shorted: what the point should show
 * and the limits it has are no matter of theirs. False when memory is short.
 */
static bool short_leads(struct job *job)
{
    struct bench_point *leads = malloc(sizeof *leads);
    if (leads == NULL)
        return false;
    *leads = *job->point;
    leads->expected = NAN;
    bench_drop_limits(leads);
    job->own_point = leads;
    job->point = leads;
    job->zeros.own.state = LEADS_SHORTED;
    return true;
}

/* Measures a point for a call that waits; refuses and frees it when that cannot be. */
static void begin(struct waiting_call *waiting, enum job_kind kind, const struct bench_point *point,
                  job_done *done)
{
    struct service *service = waiting->service;
    struct failure failure = { 0 };
    struct job *job = job_new(kind, service->loop->bench, point);
    if (job == NULL || (kind == JOB_ZERO && !short_leads(job))) {
        failure_no_memory(&failure, "a job");
        refuse(waiting, &failure, NULL);
        job_free(job);
        return;
    }
    job->done = done;
    job->owner = waiting;
    double left_ms = fmax(1, duration_ms(moment_since(waiting->until, monotonic_now())));
    if (loop_submit(service->loop, job, point->instrument, rpc_call_peer(waiting->call), left_ms,
                    &failure))
        return;
    refuse(waiting, &failure, NULL);
    job_free(job);
}

/* A call that waits; NULL, and it is answered, when memory is short. */
static struct waiting_call *waiting_call_for(struct service *service, struct rpc_call *call,
                                             double deadline_ms)
{
    struct waiting_call *waiting = calloc(1, sizeof *waiting);
    struct failure failure = { 0 };
    if (waiting == NULL) {
        failure_no_memory(&failure, "a job");
        call_refuse(service->loop, call, &failure);
        return NULL;
    }
    *waiting = (struct waiting_call) {
        .service = service,
        .call = call,
        .until = moment_plus(monotonic_now(), duration_of_ms(deadline_ms)),
        .frequency = NAN,
    };
    return waiting;
}

/* What a reading was before its loading was corrected, and what loaded it. */
static bool read_loaded(const struct job *job, struct loaded_reading *loaded,
                        struct failure *failure)
{
    const struct reading *reading = &job->capture.reading;
    struct chain chain;
    double value, uncertainty;
    if (!reading_value(reading, &value, &uncertainty) ||
        !point_chain(job->bench, job->point, &chain, failure))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, NULL, "no reading");
    double factor = reading->loading_corrected ? reading->loading.factor : 1;
    loaded->value = value / factor;
    loaded->standard = reading->expanded.standard / factor;
    loaded->load = chain_load(&chain, &reading->setup);
    return true;
}

static struct unload_finding find_unloaded(const struct unloaded *unloaded,
                                           const struct loaded_reading *first,
                                           const struct loaded_reading *second)
{
    return (struct unload_finding) {
        .unloaded = *unloaded,
        .coverage = coverage,
        .uncertainty = coverage * unloaded->standard,
        .resistance_uncertainty = coverage * unloaded->resistance_standard,
        .loads = { *first, *second },
    };
}

static void answer_unloaded(struct waiting_call *waiting, const struct unload_finding *finding)
{
    struct text *text = loop_text(waiting->service->loop);
    encode_unloaded(text, finding);
    rpc_result(waiting->call, text);
    free(waiting);
}

/* The second point by its name: the settings may have been loaded again in between. */
static const struct bench_point *second_point(struct waiting_call *waiting, struct failure *failure)
{
    const struct bench_point *point = loop_point(waiting->service->loop, waiting->second, failure);
    waiting->second[0] = '\0';
    return point;
}

static void on_unload(struct job *job, const struct failure *refusal)
{
    struct waiting_call *waiting = job->owner;
    struct failure failure = refusal != NULL ? *refusal : job->capture.reading.failure;
    struct loaded_reading loaded = { 0 };
    struct unloaded unloaded = { 0 };
    const struct bench_point *second = NULL;
    bool first = waiting->second[0] != '\0';
    bool good = failure.code == FAILURE_NONE && read_loaded(job, &loaded, &failure);
    if (good && first) {
        waiting->first = loaded;
        second = second_point(waiting, &failure);
        good = second != NULL;
    } else if (good) {
        good = two_load_solve(&waiting->first, &loaded, &unloaded, &failure);
    }
    if (!good) {
        refuse(waiting, &failure, job);
    } else if (first) {
        begin(waiting, JOB_MEASURE, second, on_unload);
    } else {
        const struct unload_finding finding = find_unloaded(&unloaded, &waiting->first, &loaded);
        answer_unloaded(waiting, &finding);
    }
}

/* Resistance alone divides a dc voltage only. */
static bool is_dc_voltage(const struct bench_point *point, struct failure *failure)
{
    return point->quantity == QUANTITY_DC_VOLTAGE ||
           failure_set(failure, FAILURE_UNSUPPORTED, point->name, "a dc voltage", "it measures %s",
                       quantity_name(point->quantity));
}

void call_unload(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    const struct bench_point *first =
        loop_point(service->loop, values[UNLOAD_FIRST].text, &failure);
    const struct bench_point *second =
        first != NULL ? loop_point(service->loop, values[UNLOAD_SECOND].text, &failure) : NULL;
    if (second == NULL || !is_dc_voltage(first, &failure) || !is_dc_voltage(second, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct waiting_call *waiting = waiting_call_for(service, call, values[UNLOAD_DEADLINE].number);
    if (waiting == NULL)
        return;
    snprintf(waiting->second, sizeof waiting->second, "%s", second->name);
    begin(waiting, JOB_MEASURE, first, on_unload);
}

/* What a decay may hide behind: the divider's time constants, and the converter's step at the tip. */
static bool read_sought(const struct job *job, struct sought *sought, struct failure *failure)
{
    struct chain chain;
    if (!point_chain(job->bench, job->point, &chain, failure))
        return false;
    const struct range *range = &chain.input->ranges[job->capture.reading.setup.range];
    *sought = compensation_sought(chain.probe->tip_resistance, chain.probe->load_resistance,
                                  range->resolution * fabs(chain.probe->factor));
    return true;
}

static bool judge_capture(const struct job *job, struct compensation *found,
                          struct failure *failure)
{
    const struct capture *capture = &job->capture;
    struct plateau plateau;
    struct sought sought;
    if (!read_sought(job, &sought, failure))
        return false;
    if (!compensation_plateau(capture->samples, capture->count, &plateau))
        return failure_set(failure, FAILURE_NO_VALUE, NULL,
                           "a square wave of 32 samples or more in half a period",
                           "there is no plateau in the record");
    if (!compensation_judge(&capture->samples[plateau.first], plateau.count, capture->interval,
                            plateau.before, plateau.lead * capture->interval, compensated, &sought,
                            found, failure))
        return false;
    if (!(fabs(plateau.evenness - 1) <= evenness)) {
        found->kind = COMPENSATION_UNDECIDED;
        found->lack = "the square wave is not as long high as low";
    }
    return true;
}

/* Puts what a job found on record. */
static void put_on_record(struct service *service, enum event_kind kind, struct text *body,
                          const struct job *job)
{
    struct happening event = {
        .kind = kind, .subject = "", .plan = "", .body = body, .time = job->taken
    };
    publish_event(&service->loop->publish, &event);
    text_free(body);
}

/* Keeps the outcome for whoever asks later whether the probe is good, and in the store. */
static void note_check(struct service *service, const struct job *job,
                       const struct compensation *found)
{
    struct text body = { 0 };
    probe_checks_note(service->probe_checks, job->bench, job->point, found, job->taken);
    probe_checks_encode(&body, job->bench, job->point, found);
    put_on_record(service, EVENT_COMPENSATION_CHECKED, &body, job);
}

static struct compensation_finding
find_compensation(const struct job *job, const struct compensation *found, double frequency)
{
    return (struct compensation_finding) {
        .point = job->point->name,
        .probe = job->bench->probes[job->point->probe].name,
        .found = *found,
        .ratio_uncertainty = coverage * found->ratio_standard,
        .frequency = frequency,
        .amplitude_error = isnan(frequency) ? NAN : compensation_error(found, frequency),
    };
}

static void on_compensate(struct job *job, const struct failure *refusal)
{
    struct waiting_call *waiting = job->owner;
    struct failure failure = refusal != NULL ? *refusal : (struct failure) { 0 };
    struct compensation found = { 0 };
    if (refusal == NULL && job->capture.samples == NULL)
        failure = job->capture.reading.failure;
    if (failure.code != FAILURE_NONE || !judge_capture(job, &found, &failure)) {
        refuse(waiting, &failure, job);
        return;
    }
    note_check(waiting->service, job, &found);
    const struct compensation_finding finding = find_compensation(job, &found, waiting->frequency);
    struct text *text = loop_text(waiting->service->loop);
    encode_compensation(text, &finding);
    rpc_result(waiting->call, text);
    free(waiting);
}

void call_compensate(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    const struct bench_point *point =
        loop_point(service->loop, values[COMPENSATE_POINT].text, &failure);
    if (point == NULL) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct waiting_call *waiting =
        waiting_call_for(service, call, values[COMPENSATE_DEADLINE].number);
    if (waiting == NULL)
        return;
    if (values[COMPENSATE_FREQUENCY].given)
        waiting->frequency = values[COMPENSATE_FREQUENCY].number;
    begin(waiting, JOB_CAPTURE, point, on_compensate);
}

/* Whether a point has leads of which a zero can be taken. */
static bool has_leads(const struct bench_point *point, struct failure *failure)
{
    static const char *const expected = "a resistance on two wires";
    if (point->quantity == QUANTITY_RESISTANCE_4_WIRE)
        return failure_set(failure, FAILURE_UNSUPPORTED, point->name, expected,
                           "on four wires the leads are no part of what is measured");
    return leads_count(point) || failure_set(failure, FAILURE_UNSUPPORTED, point->name, expected,
                                             "it measures %s", quantity_name(point->quantity));
}

/* What shorted leads came to; false when it is not that of shorted leads. */
static bool read_zero(const struct job *job, struct lead_zero *zero, struct failure *failure)
{
    const struct reading *reading = &job->capture.reading;
    double value, uncertainty;
    if (reading->failure.code == FAILURE_OVER_RANGE)
        return failure_set(failure, FAILURE_OVER_RANGE, job->point->name,
                           "leads that are shorted at their tips",
                           "the meter is overloaded: the leads are open");
    if (!reading_value(reading, &value, &uncertainty)) {
        *failure = reading->failure;
        return false;
    }
    *zero = (struct lead_zero) { LEADS_ZEROED, value, reading->expanded.standard, job->taken };
    return lead_zero_fits(&job->bench->probes[job->point->probe], value, uncertainty, failure);
}

static struct zero_finding find_zero(const struct job *job, const struct lead_zero *zero)
{
    const struct bench_point *point = job->point;
    const struct expanded *expanded = &job->capture.reading.expanded;
    return (struct zero_finding) {
        .point = point->name,
        .probe = job->bench->probes[point->probe].name,
        .instrument = job->bench->instruments[point->instrument].name,
        .input = point->input,
        .value = zero->resistance,
        .unit = point->unit,
        .uncertainty = expanded->uncertainty,
        .standard = zero->standard,
        .coverage = expanded->coverage,
        .holds_s = job->bench->lead_zero_s,
    };
}

static void on_zero(struct job *job, const struct failure *refusal)
{
    struct waiting_call *waiting = job->owner;
    struct service *service = waiting->service;
    struct failure failure = refusal != NULL ? *refusal : (struct failure) { 0 };
    struct lead_zero zero = { 0 };
    struct text body = { 0 };
    if (refusal == NULL && read_zero(job, &zero, &failure) &&
        !probe_checks_note_zero(service->probe_checks, job->bench, job->point, &zero))
        failure_no_memory(&failure, "the zero");
    if (failure.code != FAILURE_NONE) {
        refuse(waiting, &failure, job);
        return;
    }
    probe_checks_encode_zero(&body, job->bench, job->point, &zero);
    put_on_record(service, EVENT_LEADS_ZEROED, &body, job);
    const struct zero_finding finding = find_zero(job, &zero);
    struct text *text = loop_text(service->loop);
    encode_zero(text, &finding);
    rpc_result(waiting->call, text);
    free(waiting);
}

void call_zero(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    const struct bench_point *point = loop_point(service->loop, values[ZERO_POINT].text, &failure);
    if (point == NULL || !has_leads(point, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct waiting_call *waiting = waiting_call_for(service, call, values[ZERO_DEADLINE].number);
    if (waiting != NULL)
        begin(waiting, JOB_ZERO, point, on_zero);
}
