/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "batch.h"

#include "ask.h"
#include "job_option.h"
#include "reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void learn(struct request *request, const json_t *points)
{
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *const point = json_array_get(points, i);
        if (strcmp(request->point, field_text_or_empty(point, "name")) == 0) {
            request->instrument = field_text(point, "instrument");
            request->caution = field_text(point, "caution");
            request->told = point;
            return;
        }
    }
}

static void choose_all(struct batch *batch, const json_t *points)
{
    batch->requests = memory_zeroed(json_array_size(points), sizeof *batch->requests);
    for (size_t i = 0; i < json_array_size(points); i++) {
        const char *const name = field_text(json_array_get(points, i), "name");
        if (name != NULL)
            batch->requests[batch->count++].point = name;
    }
}

static void choose_named(struct batch *batch, const struct session *session)
{
    batch->count = (size_t)session->operand_count;
    batch->requests = memory_zeroed(batch->count, sizeof *batch->requests);
    for (size_t i = 0; i < batch->count; i++)
        batch->requests[i].point = session->operands[i];
}

/* By instrument and input, then in their order. */
static int by_input(const void *left, const void *right)
{
    const struct request *const a = *(const struct request *const *)left;
    const struct request *const b = *(const struct request *const *)right;
    const int order = strcmp(field_text_or_empty(a->told, "instrument"),
                             field_text_or_empty(b->told, "instrument"));
    const double first = field_number(a->told, "input"), second = field_number(b->told, "input");
    if (order != 0)
        return order;
    if (first != second)
        return first < second ? -1 : 1;
    return a < b ? -1 : 1;
}

static bool same_text(const json_t *a, const json_t *b, const char *key)
{
    return strcmp(field_text_or_empty(a, key), field_text_or_empty(b, key)) == 0;
}

/* Whether somebody has to move a lead or change a probe between two points, of what is told of them. */
static bool hand_between(const json_t *a, const json_t *b)
{
    const bool one_input =
        same_text(a, b, "instrument") && field_number(a, "input") == field_number(b, "input");
    const bool one_place = field_text_or_empty(a, "place")[0] != '\0' && same_text(a, b, "place") &&
                           same_text(a, b, "probe");
    return field_true(a, "by_hand") && one_input && !one_place && a != b;
}

/* Whether all can be read with nobody at the bench: no two share an input that no scanner serves. */
static bool hands_free(const struct batch *batch, struct fault *fault)
{
    const struct request **const sorted = memory_zeroed(batch->count, sizeof(*sorted));
    bool free_of_hands = true;
    size_t count = 0;
    for (size_t i = 0; i < batch->count; i++)
        if (batch->requests[i].told != NULL)
            sorted[count++] = &batch->requests[i];
    qsort(sorted, count, sizeof(*sorted), by_input);
    for (size_t i = 1; i < count && free_of_hands; i++) {
        free_of_hands = !hand_between(sorted[i - 1]->told, sorted[i]->told);
        if (!free_of_hands)
            fault_set(fault, STATUS_USAGE, "one input for several points",
                      "%.64s and %.64s share an input of %.64s, and nobody moves the lead between "
                      "them; measure them one by one, or have gradus walk lead from point to point",
                      sorted[i - 1]->point, sorted[i]->point,
                      field_text_or_empty(sorted[i]->told, "instrument"));
    }
    free(sorted);
    return free_of_hands;
}

static bool prepare(struct batch *batch, const struct session *session, struct client *client,
                    struct fault *fault)
{
    *batch = (struct batch) { 0 };
    const double limit = ASK_PLAIN_MS + ASK_GRACE_MS;
    if (!client_call(client, "points", json_object(), limit, &batch->points, fault))
        return false;
    const json_t *const points = json_object_get(batch->points.json, "result");
    if (!json_is_array(points)) {
        ask_senseless(fault, "a list of points");
        return false;
    }
    if (session->options->all)
        choose_all(batch, points);
    else
        choose_named(batch, session);
    for (size_t i = 0; i < batch->count; i++)
        learn(&batch->requests[i], points);
    if (batch->count == 0)
        fault_set(fault, STATUS_USAGE, "no points", "the daemon's settings name none");
    return batch->count > 0 && hands_free(batch, fault);
}

static void release(struct batch *batch)
{
    for (size_t i = 0; i < batch->count; i++)
        message_clear(&batch->requests[i].answer);
    free(batch->requests);
    message_clear(&batch->points);
    *batch = (struct batch) { 0 };
}

static void tell_cautions(const struct batch *batch, const struct session *session)
{
    for (size_t i = 0; i < batch->count && !session->options->quiet; i++) {
        const struct request *const request = &batch->requests[i];
        if (request->caution != NULL) {
            terminal_complain(session->terminal, "%s: caution: %s", request->point,
                              request->caution);
        }
    }
}

int batch_with(const struct session *session, batch_work *work)
{
    struct fault fault = { 0 };
    struct batch batch = { 0 };
    struct client *const client = client_open(session->options, &fault);
    int status;
    if (client != NULL && prepare(&batch, session, client, &fault)) {
        tell_cautions(&batch, session);
        status = work(session, client, &batch);
    } else {
        fault_explain(&fault, NULL, session->terminal);
        status = fault.status;
    }
    release(&batch);
    client_close(client);
    return status;
}

static void request_fail(struct request *request, const struct fault *fault)
{
    request->state = REQUEST_DONE;
    request->failed = true;
    request->fault = *fault;
}

static void fail_rest(struct batch *batch, const struct fault *fault)
{
    for (size_t i = 0; i < batch->count; i++)
        if (batch->requests[i].state != REQUEST_DONE)
            request_fail(&batch->requests[i], fault);
}

static bool instrument_is_busy(const struct batch *batch, const struct request *request)
{
    for (size_t i = 0; i < batch->count; i++) {
        const struct request *const other = &batch->requests[i];
        if (other->state == REQUEST_SENT && other->instrument != NULL &&
            request->instrument != NULL && strcmp(other->instrument, request->instrument) == 0)
            return true;
    }
    return false;
}

static bool request_send(struct request *request, const struct session *session,
                         struct client *client, struct fault *fault)
{
    const struct options *const options = session->options;
    json_t *const params =
        json_pack("{s:s, s:i, s:o}", "point", request->point, "repeat", options->repeat,
                  "deadline_ms", ask_number(options->deadline_ms));
    job_option(session, params); /* whether it is good was seen before anything was measured */
    request->id = client_send(client, "measure", params, fault);
    request->until_ms = client_now() + options->deadline_ms + ASK_GRACE_MS;
    request->state = REQUEST_SENT;
    return request->id != 0;
}

/* Sends what has a free instrument. False with the fault filled in when the link is gone. */
static bool send_due(struct batch *batch, const struct session *session, struct client *client,
                     struct fault *fault)
{
    for (size_t i = 0; i < batch->count; i++) {
        struct request *const request = &batch->requests[i];
        if (request->state == REQUEST_WAITING && !instrument_is_busy(batch, request) &&
            !request_send(request, session, client, fault))
            return false;
    }
    return true;
}

static void request_take(struct request *request, struct message *answer)
{
    struct fault fault = { 0 };
    const json_t *const error = json_object_get(answer->json, "error");
    request->answer = *answer;
    *answer = (struct message) { 0 };
    request->state = REQUEST_DONE;
    if (error != NULL) {
        fault_from_error(&fault, error);
        request_fail(request, &fault);
    } else if (!reading_check(json_object_get(request->answer.json, "result"), &fault)) {
        request_fail(request, &fault);
    } else if (strcmp(field_text_or_empty(request->answer.json, "result.point"), request->point) !=
               0) {
        ask_senseless(&fault, "a reading of the point that was asked for");
        request_fail(request, &fault);
    }
}

static void receive_answer(struct batch *batch, struct message *answer)
{
    const int id = client_answer_id(answer);
    for (size_t i = 0; id != 0 && i < batch->count; i++) {
        if (batch->requests[i].state == REQUEST_SENT && batch->requests[i].id == id) {
            request_take(&batch->requests[i], answer);
            break;
        }
    }
    message_clear(answer);
}

/* When the first of the answers that are waited for is overdue; INFINITY: none is waited for. */
static double soonest(const struct batch *batch)
{
    double until = INFINITY;
    for (size_t i = 0; i < batch->count; i++)
        if (batch->requests[i].state == REQUEST_SENT)
            until = fmin(until, batch->requests[i].until_ms);
    return until;
}

static void fail_overdue(struct batch *batch, double waited_ms)
{
    const double now = client_now();
    struct fault fault;
    client_event_fault(CLIENT_LATE, waited_ms, &fault);
    for (size_t i = 0; i < batch->count; i++)
        if (batch->requests[i].state == REQUEST_SENT && batch->requests[i].until_ms <= now)
            request_fail(&batch->requests[i], &fault);
}

static size_t done_in_order(const struct batch *batch)
{
    size_t count = 0;
    while (count < batch->count && batch->requests[count].state == REQUEST_DONE)
        count++;
    return count;
}

static void show_progress(const struct batch *batch, const struct session *session)
{
    size_t done = 0;
    char text[64];
    for (size_t i = 0; i < batch->count; i++)
        done += batch->requests[i].state == REQUEST_DONE;
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
        if (send_due(batch, session, client, &fault))
            event = client_receive(client, soonest(batch), &answer, &fault);
        if (event == CLIENT_MESSAGE) {
            receive_answer(batch, &answer);
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
