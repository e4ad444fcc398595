/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "core/input/suitability.h"
#include "methods.h"
#include "order.h"
#include "service.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a job needs to be answered. */
struct waiting_call {
    struct service *service;
    struct rpc_call *call;
};

/* Writes what came of a job that has an outcome. */
static void encode_outcome(struct text *text, const struct job *job)
{
    const struct occasion occasion = job_occasion(job);
    if (job->kind == JOB_CAPTURE) {
        encode_capture(text, &occasion, &job->capture, &job->await, job->samples);
    } else if (job->kind == JOB_MEASURE) {
        encode_reading(text, &occasion, &job->capture.reading);
    } else {
        text_open(text, '{');
        if (job->reply != NULL) {
            text_key(text, "reply");
            text_bytes(text, job->reply, job->reply_length);
        }
        text_close(text, '}');
    }
}

static bool has_outcome(const struct job *job)
{
    return job->kind == JOB_CAPTURE ? job->capture.samples != NULL
                                    : job->capture.reading.failure.code == FAILURE_NONE;
}

/*
 * Answers once the reading is durable. One that the store would not take is
 * answered at once, with a warning.
 */
static void answer_kept(const struct waiting_call *waiting, const struct job *job)
{
    struct service *service = waiting->service;
    if (job->record != NULL) {
        answers_wait_record(service->answers, waiting->call, job->record, job->deadline);
        return;
    }
    struct text reading = { 0 };
    struct text *text = loop_text(service->loop);
    encode_outcome(&reading, job);
    encode_stored(text, &reading, 0, "not kept: the store holds as many readings as it may");
    rpc_result(waiting->call, text);
    text_free(&reading);
}

static void on_done(struct job *job, const struct failure *refusal)
{
    struct waiting_call *waiting = job->owner;
    struct service *service = waiting->service;
    const struct reading *reading = &job->capture.reading;
    if (refusal != NULL) {
        call_refuse_with(service->loop, waiting->call, refusal, job->bench, job->point, NULL);
    } else if (!has_outcome(job)) {
        call_refuse_with(service->loop, waiting->call, &reading->failure, job->bench, job->point,
                         reading);
    } else if (job->kind == JOB_MEASURE && service->loop->store != NULL) {
        answer_kept(waiting, job);
    } else {
        struct text *text = loop_text(service->loop);
        encode_outcome(text, job);
        rpc_result(waiting->call, text);
    }
    free(waiting);
}

/* Has a job (or NULL) answer a call; NULL, and the call is answered, when memory is short. */
static struct job *answering(struct service *service, struct rpc_call *call, struct job *job)
{
    struct waiting_call *waiting = malloc(sizeof *waiting);
    if (job == NULL || waiting == NULL) {
        struct failure failure = { 0 };
        failure_no_memory(&failure, "a job");
        call_refuse(service->loop, call, &failure);
        job_free(job);
        free(waiting);
        return NULL;
    }
    *waiting = (struct waiting_call) { service, call };
    job->done = on_done;
    job->owner = waiting;
    return job;
}

/* Puts the reading into a customer's job; false, and the call is answered, when it cannot be one. */
static bool put_into(struct service *service, struct rpc_call *call, const struct rpc_value *value,
                     char **order)
{
    struct failure failure = { 0 };
    *order = value->given ? order_read(value->object, false, &failure) : NULL;
    if (!value->given || *order != NULL)
        return true;
    call_refuse(service->loop, call, &failure);
    return false;
}

/* A job that answers a call; NULL, and the call is answered, when memory is short. */
static struct job *job_for(struct service *service, struct rpc_call *call, enum job_kind kind,
                           const struct bench_point *point)
{
    return answering(service, call, job_new(kind, service->loop->bench, point));
}

/* Hands the job over; answers the call when it is refused. */
static void submit(struct job *job, size_t instrument, double deadline_ms)
{
    struct waiting_call *waiting = job->owner;
    struct session *session = rpc_call_peer(waiting->call);
    struct failure failure = { 0 };
    if (loop_submit(waiting->service->loop, job, instrument, session, deadline_ms, &failure))
        return;
    on_done(job, &failure);
    job_free(job);
}

/* The point a call names; NULL, and the call is answered, when there is none. */
static const struct bench_point *point_of(struct service *service, struct rpc_call *call,
                                          const char *name)
{
    struct failure failure = { 0 };
    const struct bench_point *point = loop_point(service->loop, name, &failure);
    if (point == NULL)
        call_refuse(service->loop, call, &failure);
    return point;
}

void call_measure(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    char *order;
    if (!put_into(service, call, &values[MEASURE_JOB], &order))
        return;
    const struct bench_point *point = point_of(service, call, values[MEASURE_POINT].text);
    struct job *job = point != NULL ? job_for(service, call, JOB_MEASURE, point) : NULL;
    if (job == NULL) {
        free(order);
        return;
    }
    job->order = order;
    job->repeats = (size_t)values[MEASURE_REPEAT].integer;
    submit(job, point->instrument, values[MEASURE_DEADLINE].number);
}

/* The keys of a point that is not in the settings, to be given back; NULL when memory is short. */
static json_t *read_keys(const struct rpc_value *values)
{
    json_t *more = values[READ_MORE].given ? values[READ_MORE].object : NULL;
    json_t *keys = more != NULL ? json_copy(more) : json_object();
    const char *probe = values[READ_PROBE].given ? values[READ_PROBE].text : "direct";
    json_t *own = json_pack("{s:s, s:I, s:s, s:s}", "instrument", values[READ_INSTRUMENT].text,
                            "input", (json_int_t)values[READ_INPUT].integer, "quantity",
                            values[READ_QUANTITY].text, "probe", probe);
    if (keys == NULL || own == NULL || json_object_update(keys, own) != 0) {
        json_decref(keys);
        keys = NULL;
    }
    json_decref(own);
    return keys;
}

void call_read(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    char *order;
    if (!put_into(service, call, &values[READ_JOB], &order))
        return;
    json_t *keys = read_keys(values);
    struct job *job = keys != NULL ? loop_loose_job(service->loop, keys, &failure) : NULL;
    json_decref(keys);
    if (job == NULL) {
        failure_no_memory(&failure, "the point"); /* the first cause wins */
        free(order);
        call_refuse(service->loop, call, &failure);
        return;
    }
    job->order = order;
    job = answering(service, call, job);
    if (job == NULL)
        return;
    job->repeats = (size_t)values[READ_REPEAT].integer;
    submit(job, job->point->instrument, values[READ_DEADLINE].number);
}

/* What a capture waits for; false with the failure set when the words make no sense. */
static bool read_await(const struct rpc_value *values, const struct bench *bench,
                       const struct bench_point *point, struct await *await,
                       struct failure *failure)
{
    const struct rpc_value *before = &values[CAPTURE_BEFORE], *after = &values[CAPTURE_AFTER];
    await->given = values[CAPTURE_WHEN].given;
    await->before = before->given ? before->number : NAN;
    await->after = after->given ? after->number : NAN;
    await->wait = values[CAPTURE_WAIT].number;
    if (!await->given)
        return !(before->given || after->given) ||
               failure_set(failure, FAILURE_SETTINGS, NULL, "what is waited for, as when",
                           "before and after are of what is waited for");
    return when_read(values[CAPTURE_WHEN].text, bench_signal_unit(bench, point), &await->when,
                     failure);
}

void call_capture(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    char *order;
    if (!put_into(service, call, &values[CAPTURE_JOB], &order))
        return;
    const struct bench_point *point = point_of(service, call, values[CAPTURE_POINT].text);
    struct job *job = point != NULL ? job_for(service, call, JOB_CAPTURE, point) : NULL;
    if (job == NULL) {
        free(order);
        return;
    }
    job->order = order;
    job->samples = (size_t)values[CAPTURE_SAMPLES].integer;
    if (values[CAPTURE_DURATION].given)
        job->duration = values[CAPTURE_DURATION].number;
    struct failure failure = { 0 };
    if (!read_await(values, job->bench, point, &job->await, &failure)) {
        on_done(job, &failure);
        job_free(job);
        return;
    }
    double wait_ms = job->await.given ? job->await.wait * 1000 : 0;
    submit(job, point->instrument, values[CAPTURE_DEADLINE].number + wait_ms);
}

/* The instrument to talk to; false, and the call is answered, when that is not to be. */
static bool talk_allowed(struct service *service, struct rpc_call *call, const char *name,
                         size_t *instrument)
{
    struct failure failure = { 0 };
    if (!service->loop->bench->server.talk)
        failure_set(&failure, FAILURE_SETTINGS, service->loop->bench->path, "server.talk = true",
                    "raw text to instruments is not allowed");
    else if (loop_instrument(service->loop, name, instrument, &failure))
        return true;
    call_refuse(service->loop, call, &failure);
    return false;
}

void call_talk(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    const struct rpc_value *reply = &values[TALK_REPLY];
    const char *command = values[TALK_COMMAND].text;
    size_t instrument;
    if (!talk_allowed(service, call, values[TALK_INSTRUMENT].text, &instrument))
        return;
    struct job *job = job_for(service, call, JOB_TALK, NULL);
    if (job == NULL)
        return;
    job->command = strdup(command);
    if (job->command == NULL) {
        struct failure failure = { 0 };
        failure_no_memory(&failure, "the command");
        on_done(job, &failure);
        job_free(job);
        return;
    }
    job->wants_reply = reply->given ? reply->flag : strchr(command, '?') != NULL;
    submit(job, instrument, values[TALK_DEADLINE].number);
}

/*
 * Whether readings of a point show what its signal does, or only its mean: an instrument
 * averages a level over a record of its own choice, or over one conversion. Quantities
 * that are of whole periods anyway say nothing of the signal's course.
 */
static bool shows_course(const struct bench *bench, const struct bench_point *point)
{
    const struct profile *profile = bench->instruments[point->instrument].profile;
    const struct function *function = profile_function(profile, point->at_input);
    return quantity_aspect(point->quantity) == ASPECT_DC && function != NULL &&
           point->frequency * function->conversion_ms / 1000 < 1;
}

enum { PACE_WARNING = BENCH_NAME + sizeof((struct suitability *)NULL)->reason + 2 };

/* Whether a point's signal changes faster than it is to be read; then `line` says so. */
static bool pace_warning(struct service *service, const struct follow_order *order, size_t index,
                         char line[PACE_WARNING])
{
    struct failure failure = { 0 };
    const struct bench_point *point =
        order->read == NULL ? loop_point(service->loop, order->points[index], &failure) : NULL;
    if (point == NULL || !(order->every_ms > 0) || isnan(point->frequency) ||
        !shows_course(service->loop->bench, point))
        return false;
    struct suitability suitability = suitability_rate(1000 / order->every_ms, point->frequency);
    snprintf(line, PACE_WARNING, "%s: %s", point->name, suitability.reason);
    return suitability.state != SUITABILITY_FULL;
}

static void encode_warnings(struct text *text, struct service *service,
                            const struct follow_order *order)
{
    char line[PACE_WARNING];
    text_member_open(text, "warnings", '[');
    for (size_t i = 0; i < order->count; i++)
        if (pace_warning(service, order, i, line))
            text_string(text, line);
    text_close(text, ']');
}

/* Whether what is to be followed can be: named points, or one that `read` makes; its name. */
static bool name_points(struct service *service, const struct rpc_value *values,
                        struct follow_order *order, const char *points[FOLLOW_MAX_POINTS],
                        char name[BENCH_NAME], struct failure *failure)
{
    json_t *names = values[FOLLOW_POINTS].texts;
    if (values[FOLLOW_POINTS].given == values[FOLLOW_READ].given)
        return failure_set(failure, FAILURE_SETTINGS, NULL, "points or read, one of them",
                           "it is not clear what is to be followed");
    for (size_t i = 0; i < order->count && values[FOLLOW_POINTS].given; i++)
        points[i] = json_string_value(json_array_get(names, i));
    if (values[FOLLOW_POINTS].given)
        return true;
    struct job *job = loop_loose_job(service->loop, values[FOLLOW_READ].object, failure);
    if (job == NULL)
        return false;
    memcpy(name, job->point->name, BENCH_NAME);
    job_free(job);
    points[0] = name;
    order->read = values[FOLLOW_READ].object;
    order->count = 1;
    return true;
}

void call_follow(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    const char *points[FOLLOW_MAX_POINTS];
    char name[BENCH_NAME];
    struct follow_order order = { .points = points,
                                  .count = json_array_size(values[FOLLOW_POINTS].texts),
                                  .every_ms = values[FOLLOW_EVERY].number,
                                  .rounds = (size_t)values[FOLLOW_READINGS].integer,
                                  .deadline_ms = values[FOLLOW_DEADLINE].number };
    struct failure failure = { 0 };
    uint64_t number;
    if (order.count > FOLLOW_MAX_POINTS) {
        rpc_fail_params(call, "there are too many names in \"points\"", "1 to 256 names");
        return;
    }
    if (!name_points(service, values, &order, points, name, &failure) ||
        !follow_begin(service->follow, rpc_call_peer(call), &order, &number, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    text_open(text, '{');
    text_member_integer(text, "subscription", (int64_t)number);
    encode_warnings(text, service, &order);
    text_close(text, '}');
    rpc_result(call, text);
}

void call_unfollow(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    uint64_t number = (uint64_t)values[UNFOLLOW_SUBSCRIPTION].integer;
    struct session *session = rpc_call_peer(call);
    if (!follow_end(service->follow, session, number) &&
        !burnin_follow_end(service->burnin_follow, session, number)) {
        rpc_fail_params(call, "this client has no such subscription",
                        "the number that follow or burnin.follow answered");
        return;
    }
    struct text *text = loop_text(service->loop);
    text_bool(text, true);
    rpc_result(call, text);
}
