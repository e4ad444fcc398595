/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Waiting for hours until a point leaves its limits, and telling how often and what else moved. */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/batch.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/basics/watched.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TIME_SIZE = 40 };

/* One point that is watched. Times in milliseconds of client_now(). */
struct quarry {
    const char *point;
    char unit[16];
    struct watched watched;
    double value; /* of the last reading, with its uncertainty; NAN: none yet */
    double uncertainty;
    bool out;     /* surely beyond a limit, and not yet within them again */
    double since; /* when it was last seen within */
    char began[TIME_SIZE];
    double extreme; /* furthest from where it was before */
    double calm;    /* where it was, with its uncertainty, before the last of all points left */
    double calm_uncertainty;
    double moved; /* furthest from there meanwhile; NAN: it did not move */
    int times;
    double longest; /* seconds that it was out at most */
    int lost;       /* looks without a reading */
};

struct hunt {
    const struct session *session;
    struct quarry *quarries;
    size_t count;
    int id;
    bool answered;
    bool ended;
    double until; /* on client_now()'s scale; INFINITY: at SIGINT */
    int caught;   /* times over all points */
    int status;
};

static struct quarry *quarry_named(const struct hunt *hunt, const char *point)
{
    for (size_t i = 0; i < hunt->count && point != NULL; i++)
        if (strcmp(hunt->quarries[i].point, point) == 0)
            return &hunt->quarries[i];
    return NULL;
}

static bool any_out(const struct hunt *hunt)
{
    for (size_t i = 0; i < hunt->count; i++)
        if (hunt->quarries[i].out)
            return true;
    return false;
}

static void begin_out(struct hunt *hunt, struct quarry *quarry, const json_t *reading)
{
    const bool first = !any_out(hunt);
    char text[NOTATION_SIZE];
    const double value = field_number(reading, "value");
    snprintf(quarry->began, sizeof quarry->began, "%s", field_text_or_empty(reading, "time"));
    quarry->out = true;
    quarry->extreme = value;
    for (size_t i = 0; i < hunt->count && first; i++) {
        struct quarry *const each = &hunt->quarries[i];
        each->calm = each->value;
        each->calm_uncertainty = each->uncertainty;
        each->moved = (double)NAN;
    }
    notation_result(text, sizeof text, value, field_number(reading, "uncertainty"), 2,
                    quarry->unit);
    terminal_print(hunt->session->terminal, stdout, "%s  %s left its limits: %s\n", quarry->began,
                   quarry->point, text);
}

/* Others whose value meanwhile differed from that before by more than both uncertainties. */
static void tell_others(const struct hunt *hunt, const struct quarry *quarry)
{
    char before[NOTATION_SIZE], now[NOTATION_SIZE];
    bool any = false;
    for (size_t i = 0; i < hunt->count; i++) {
        const struct quarry *const other = &hunt->quarries[i];
        if (other == quarry || isnan(other->moved))
            continue;
        any = true;
        terminal_print(hunt->session->terminal, stdout, "    %s moved too: %s, was %s\n",
                       other->point, notation_value(now, sizeof now, other->moved, 5, other->unit),
                       notation_value(before, sizeof before, other->calm, 5, other->unit));
    }
    if (!any && hunt->count > 1)
        terminal_print(hunt->session->terminal, stdout, "    nothing else was seen to move\n");
}

static void end_out(struct hunt *hunt, struct quarry *quarry, double now)
{
    char extreme[NOTATION_SIZE], lasted[NOTATION_SIZE];
    const double most = (now - quarry->since) / 1000;
    quarry->out = false;
    quarry->times++;
    quarry->longest = fmax(quarry->longest, most);
    hunt->caught++;
    terminal_print(hunt->session->terminal, stdout,
                   "    %s is back: out for no more than %s, seen as far as %s\n", quarry->point,
                   notation_value(lasted, sizeof lasted, most, 3, "s"),
                   notation_value(extreme, sizeof extreme, quarry->extreme, 5, quarry->unit));
    tell_others(hunt, quarry);
    hunt->ended |=
        hunt->session->options->count > 0 && hunt->caught >= hunt->session->options->count;
}

/* Further from where it was than anything before, and by more than it may be off. */
static void note_movement(const struct hunt *hunt, struct quarry *quarry)
{
    const double far = fabs(quarry->value - quarry->calm);
    if (any_out(hunt) && far > quarry->uncertainty + quarry->calm_uncertainty &&
        !(fabs(quarry->moved - quarry->calm) >= far))
        quarry->moved = quarry->value;
}

static void take_reading(struct hunt *hunt, const json_t *reading)
{
    struct quarry *const quarry = quarry_named(hunt, field_text(reading, "point"));
    const char *const verdict = field_text_or_empty(reading, "verdict");
    const double now = client_now(), value = field_number(reading, "value");
    const bool within = strcmp(verdict, "pass") == 0 || strcmp(verdict, "conditional pass") == 0;
    if (quarry == NULL)
        return;
    snprintf(quarry->unit, sizeof quarry->unit, "%s", field_text_or_empty(reading, "unit"));
    watched_look(&quarry->watched, now);
    if (strcmp(verdict, "fail") == 0 && !quarry->out)
        begin_out(hunt, quarry, reading);
    if (quarry->out && !within &&
        !(fabs(value - quarry->calm) <= fabs(quarry->extreme - quarry->calm)))
        quarry->extreme = value;
    quarry->value = value;
    quarry->uncertainty = field_number(reading, "uncertainty");
    note_movement(hunt, quarry);
    if (quarry->out && within)
        end_out(hunt, quarry, now);
    if (within)
        quarry->since = now;
}

/* A look without a reading is none; the first of a row is told. */
static void on_failure(struct hunt *hunt, const json_t *params)
{
    struct quarry *const quarry = quarry_named(hunt, field_text(params, "point"));
    struct fault fault = { 0 };
    fault_from_error(&fault, json_object_get(params, "error"));
    if (quarry == NULL)
        return;
    if (!isnan(quarry->value) || quarry->lost == 0)
        fault_explain(&fault, quarry->point, hunt->session->terminal);
    quarry->value = (double)NAN;
    quarry->lost++;
}

static void end_with(struct hunt *hunt, const struct fault *fault)
{
    fault_explain(fault, NULL, hunt->session->terminal);
    hunt->status = status_worse(hunt->status, fault->status);
    hunt->ended = true;
}

static void on_message(struct hunt *hunt, const struct message *message)
{
    struct fault fault = { 0 };
    const char *const method = field_text_or_empty(message->json, "method");
    const json_t *const params = json_object_get(message->json, "params");
    const json_t *const error = json_object_get(message->json, "error");
    if (error != NULL) {
        fault_from_error(&fault, error);
        end_with(hunt, &fault);
    } else if (client_answer_id(message) == hunt->id) {
        hunt->answered = true;
    } else if (json_object_get(params, "error") != NULL) {
        on_failure(hunt, params);
    } else if (strcmp(method, "reading") == 0) {
        take_reading(hunt, json_object_get(params, "reading"));
    } else if (strcmp(method, "finished") == 0) {
        ask_senseless(&fault, "readings until they are no longer wanted");
        end_with(hunt, &fault);
    }
}

static void keep_on(struct hunt *hunt, struct client *client)
{
    const double answer_by = client_now() + ASK_PLAIN_MS + ASK_GRACE_MS;
    while (!hunt->ended) {
        struct fault fault = { 0 };
        struct message message = { 0 };
        const double until = hunt->answered ? hunt->until : answer_by;
        const enum client_event event = client_receive(client, until, &message, &fault);
        if (event == CLIENT_MESSAGE) {
            on_message(hunt, &message);
        } else if (event == CLIENT_INTERRUPTED || (event == CLIENT_LATE && hunt->answered)) {
            hunt->ended = true;
        } else {
            client_event_fault(event, ASK_PLAIN_MS + ASK_GRACE_MS, &fault);
            end_with(hunt, &fault);
        }
        message_clear(&message);
        hunt->ended |= fflush(stdout) != 0;
    }
}

/* How often, how long, and what could have been missed. */
static void sum_up(struct hunt *hunt, double now)
{
    char longest[NOTATION_SIZE], sure[NOTATION_SIZE];
    const struct terminal *const terminal = hunt->session->terminal;
    for (size_t i = 0; i < hunt->count; i++) {
        const struct quarry *const quarry = &hunt->quarries[i];
        terminal_print(terminal, stdout, "%s: left its limits %d times", quarry->point,
                       quarry->times + quarry->out);
        if (quarry->times > 0)
            terminal_print(terminal, stdout, ", for %s at most",
                           notation_value(longest, sizeof longest, quarry->longest, 3, "s"));
        terminal_print(
            terminal, stdout, "%s; %zu looks%s, what was shorter than %s can have been missed\n",
            quarry->out ? " and is still out" : "", quarry->watched.looks,
            quarry->lost > 0 ? " (others came to no reading)" : "",
            notation_value(sure, sizeof sure, watched_sure(&quarry->watched, now) / 1000, 3, "s"));
        if (quarry->times > 0 || quarry->out)
            hunt->status = status_worse(hunt->status, STATUS_FAIL);
        if (quarry->watched.looks == 0)
            hunt->status = status_worse(hunt->status, STATUS_NO_READING);
    }
}

/* Without limits there is nothing to leave. */
static bool has_limits(const struct session *session, const struct request *request)
{
    const json_t *const limits = field_at(request->told, "limits");
    if (isfinite(field_number(limits, "low")) || isfinite(field_number(limits, "high")))
        return true;
    terminal_complain(session->terminal, "%s has no limits that it could leave", request->point);
    return false;
}

static int catch_batch(const struct session *session, struct client *client, struct batch *batch)
{
    struct fault fault = { 0 };
    const double now = client_now();
    struct hunt hunt = { .session = session,
                         .count = batch->count,
                         .until = isfinite(session->options->lasts)
                                      ? now + session->options->lasts * 1000
                                      : (double)INFINITY };
    json_t *const points = json_array();
    hunt.quarries = memory_zeroed(batch->count, sizeof *hunt.quarries);
    for (size_t i = 0; i < batch->count; i++) {
        hunt.quarries[i] = (struct quarry) { .point = batch->requests[i].point,
                                             .watched = watched_begin(now),
                                             .value = (double)NAN,
                                             .since = now,
                                             .calm = (double)NAN,
                                             .moved = (double)NAN };
        json_array_append_new(points, json_string(batch->requests[i].point));
        if (!has_limits(session, &batch->requests[i]))
            hunt.status = STATUS_USAGE;
    }
    if (hunt.status == STATUS_USAGE) {
        json_decref(points);
        free(hunt.quarries);
        return hunt.status;
    }
    hunt.id = client_send(client, "follow",
                          json_pack("{s:o, s:i, s:o}", "points", points, "every_ms", 0,
                                    "deadline_ms", ask_number(session->options->deadline_ms)),
                          &fault);
    if (hunt.id == 0)
        end_with(&hunt, &fault);
    keep_on(&hunt, client);
    sum_up(&hunt, client_now());
    free(hunt.quarries);
    return hunt.status;
}

static int run_catch(const struct session *session)
{
    return batch_with(session, catch_batch);
}

const struct command command_catch = {
    .name = "catch",
    .arguments = "POINT...",
    .summary = "wait until a point leaves its limits, and go on",
    .usage =
        "Measures the points again and again, as fast as it goes, until SIGINT, or for --for\n"
        "seconds, or until --count times were caught. Says each time that one surely left its\n"
        "limits, for how long at most, how far, and which others moved meanwhile; and at the\n"
        "end how often, and what could have been missed: between two looks nothing is seen.\n"
        "A scope sees less than a look's length with gradus capture --when. The exit status\n"
        "is 1 where something was caught, 3 where a point had no reading at all.\n",
    .options = OPTION_FOR | OPTION_COUNT | OPTION_DEADLINE | OPTION_SETTINGS,
    .least = 1,
    .most = -1,
    .run = run_catch,
};
