/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "batch.h"

#include "ask.h"
#include "reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void learn(struct job *job, const json_t *points)
{
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *const point = json_array_get(points, i);
        if (strcmp(job->point, field_text_or_empty(point, "name")) == 0) {
            job->instrument = field_text(point, "instrument");
            job->caution = field_text(point, "caution");
            return;
        }
    }
}

static void take_all(struct batch *batch, const json_t *points)
{
    batch->jobs = memory_zeroed(json_array_size(points), sizeof *batch->jobs);
    for (size_t i = 0; i < json_array_size(points); i++) {
        const char *const name = field_text(json_array_get(points, i), "name");
        if (name != NULL) {
            batch->jobs[batch->count++].point = name;
        }
    }
}

static void take_named(struct batch *batch, const struct session *session)
{
    batch->count = (size_t)session->operand_count;
    batch->jobs = memory_zeroed(batch->count, sizeof *batch->jobs);
    for (size_t i = 0; i < batch->count; i++) {
        batch->jobs[i].point = session->operands[i];
    }
}

bool batch_prepare(struct batch *batch, const struct session *session, struct client *client,
                   struct fault *fault)
{
    *batch = (struct batch) { 0 };
    const double limit = ASK_PLAIN_MS + ASK_GRACE_MS;
    if (!client_call(client, "points", json_object(), limit, &batch->points, fault)) {
        return false;
    }
    const json_t *const points = json_object_get(batch->points.json, "result");
    if (!json_is_array(points)) {
        ask_senseless(fault, "a list of points");
        return false;
    }
    if (session->options->all) {
        take_all(batch, points);
    } else {
        take_named(batch, session);
    }
    for (size_t i = 0; i < batch->count; i++) {
        learn(&batch->jobs[i], points);
    }
    if (batch->count == 0) {
        fault_set(fault, STATUS_USAGE, "no points", "the daemon's settings name none");
    }
    return batch->count > 0;
}

void batch_free(struct batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        message_clear(&batch->jobs[i].answer);
    }
    free(batch->jobs);
    message_clear(&batch->points);
    *batch = (struct batch) { 0 };
}

void batch_cautions(const struct batch *batch, const struct session *session)
{
    for (size_t i = 0; i < batch->count && !session->options->quiet; i++) {
        const struct job *const job = &batch->jobs[i];
        if (job->caution != NULL) {
            terminal_complain(session->terminal, "%s: caution: %s", job->point, job->caution);
        }
    }
}

static void job_fail(struct job *job, const struct fault *fault)
{
    job->state = JOB_DONE;
    job->failed = true;
    job->fault = *fault;
}

static void fail_rest(struct batch *batch, const struct fault *fault)
{
    for (size_t i = 0; i < batch->count; i++) {
        if (batch->jobs[i].state != JOB_DONE) {
            job_fail(&batch->jobs[i], fault);
        }
    }
}

static bool instrument_is_busy(const struct batch *batch, const struct job *job)
{
    for (size_t i = 0; i < batch->count; i++) {
        const struct job *const other = &batch->jobs[i];
        if (other->state == JOB_SENT && other->instrument != NULL && job->instrument != NULL &&
            strcmp(other->instrument, job->instrument) == 0) {
            return true;
        }
    }
    return false;
}

static bool job_send(struct job *job, const struct session *session, struct client *client,
                     struct fault *fault)
{
    const struct options *const options = session->options;
    job->id =
        client_send(client, "measure",
                    json_pack("{s:s, s:i, s:o}", "point", job->point, "repeat", options->repeat,
                              "deadline_ms", ask_number(options->deadline_ms)),
                    fault);
    job->until_ms = client_now() + options->deadline_ms + ASK_GRACE_MS;
    job->state = JOB_SENT;
    return job->id != 0;
}

/* Sends what has a free instrument. False with the fault filled in when the link is gone. */
static bool send_due(struct batch *batch, const struct session *session, struct client *client,
                     struct fault *fault)
{
    for (size_t i = 0; i < batch->count; i++) {
        struct job *const job = &batch->jobs[i];
        if (job->state == JOB_WAITING && !instrument_is_busy(batch, job) &&
            !job_send(job, session, client, fault)) {
            return false;
        }
    }
    return true;
}

static void job_take(struct job *job, struct message *answer)
{
    struct fault fault = { 0 };
    const json_t *const error = json_object_get(answer->json, "error");
    job->answer = *answer;
    *answer = (struct message) { 0 };
    job->state = JOB_DONE;
    if (error != NULL) {
        fault_from_error(&fault, error);
        job_fail(job, &fault);
    } else if (!reading_check(json_object_get(job->answer.json, "result"), &fault)) {
        job_fail(job, &fault);
    } else if (strcmp(field_text_or_empty(job->answer.json, "result.point"), job->point) != 0) {
        ask_senseless(&fault, "a reading of the point that was asked for");
        job_fail(job, &fault);
    }
}

static void take_answer(struct batch *batch, struct message *answer)
{
    const int id = client_answer_id(answer);
    for (size_t i = 0; id != 0 && i < batch->count; i++) {
        if (batch->jobs[i].state == JOB_SENT && batch->jobs[i].id == id) {
            job_take(&batch->jobs[i], answer);
            break;
        }
    }
    message_clear(answer);
}

/* When the first of the answers that are waited for is overdue; INFINITY: none is waited for. */
static double soonest(const struct batch *batch)
{
    double until = INFINITY;
    for (size_t i = 0; i < batch->count; i++) {
        if (batch->jobs[i].state == JOB_SENT) {
            until = fmin(until, batch->jobs[i].until_ms);
        }
    }
    return until;
}

static void fail_overdue(struct batch *batch, double waited_ms)
{
    const double now = client_now();
    struct fault fault;
    client_event_fault(CLIENT_LATE, waited_ms, &fault);
    for (size_t i = 0; i < batch->count; i++) {
        if (batch->jobs[i].state == JOB_SENT && batch->jobs[i].until_ms <= now) {
            job_fail(&batch->jobs[i], &fault);
        }
    }
}

static size_t done_in_order(const struct batch *batch)
{
    size_t count = 0;
    while (count < batch->count && batch->jobs[count].state == JOB_DONE) {
        count++;
    }
    return count;
}

static void show_progress(const struct batch *batch, const struct session *session)
{
    size_t done = 0;
    char text[64];
    for (size_t i = 0; i < batch->count; i++) {
        done += batch->jobs[i].state == JOB_DONE;
    }
    snprintf(text, sizeof text, "measuring: %zu of %zu done", done, batch->count);
    terminal_progress(session->terminal, done < batch->count ? text : NULL);
}

void batch_run(struct batch *batch, const struct session *session, struct client *client,
               void (*done)(void *context, size_t in_order), void *context)
{
    const double waited = session->options->deadline_ms + ASK_GRACE_MS;
    while (done_in_order(batch) < batch->count) {
        struct fault fault = { 0 };
        struct message answer = { 0 };
        enum client_event event = CLIENT_GONE;
        show_progress(batch, session);
        if (send_due(batch, session, client, &fault)) {
            event = client_receive(client, soonest(batch), &answer, &fault);
        }
        if (event == CLIENT_MESSAGE) {
            take_answer(batch, &answer);
        } else if (event == CLIENT_LATE) {
            fail_overdue(batch, waited);
        } else {
            client_event_fault(event, waited, &fault);
            fail_rest(batch, &fault);
        }
        done(context, done_in_order(batch));
    }
    show_progress(batch, session);
}
