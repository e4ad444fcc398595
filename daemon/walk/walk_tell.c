/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a walk tells its client: who is next, what the probe does, what came of a place. */
#include "daemon/loop/notify.h"
#include "walk_priv.h"

#include <string.h>

static const char *state_name(enum touch_state state)
{
    static const char *const names[] = {
        [TOUCH_LEARNING] = "lift",     [TOUCH_AIR] = "in the air",  [TOUCH_HUM] = "in the air, hum",
        [TOUCH_TOUCHING] = "touching", [TOUCH_UNSURE] = "unsure",   [TOUCH_SETTLED] = "settled",
        [TOUCH_HELD] = "still there",  [TOUCH_SLIPPED] = "slipped",
    };
    return names[state];
}

static struct text *open(const struct walk *walk, const char *what)
{
    struct text *text = notification_open(walk->walks->loop, walk->number, "walk");
    text_member_string(text, "what", what);
    return text;
}

static void send(struct walk *walk, struct text *text)
{
    notification_send(walk->walks->loop, walk->session, text, &walk->missed);
}

void walk_tell_state(struct walk *walk)
{
    struct text *text = open(walk, "probe");
    text_member_string(text, "probe", state_name(walk->touch.state));
    text_member_number(text, "value", walk->touch.last.value);
    send(walk, text);
}

void walk_tell_place(struct walk *walk)
{
    struct text *text = open(walk, "place");
    text_member_integer(text, "place", (int64_t)walk->at);
    send(walk, text);
}

/* Writes the outcome of a job as "reading" or "error". */
static void put_outcome(struct walk *walk, struct text *text, const struct job *job)
{
    struct text *outcome = &walk->walks->outcome;
    const struct reading *reading = &job->capture.reading;
    bool good = reading->failure.code == FAILURE_NONE;
    const struct occasion occasion = job_occasion(job);
    text_reset(outcome);
    if (!good)
        encode_error(outcome, &reading->failure, job->bench, job->point, reading);
    else if (job->record != NULL)
        text_json(outcome, job->record->body.bytes, job->record->body.length);
    else
        encode_reading(outcome, &occasion, reading);
    text_key(text, good ? "reading" : "error");
    text_json(text, outcome->bytes, outcome->length);
    text->failed = text->failed || outcome->failed;
}

void walk_tell_outcome(struct walk *walk, size_t place, const struct job *job)
{
    struct text *text = open(walk, "outcome");
    text_member_integer(text, "place", (int64_t)place);
    text_member_string(text, "state", place_state_name(walk->places[place].state));
    if (job != NULL)
        put_outcome(walk, text, job);
    send(walk, text);
}

void walk_tell_elsewhere(struct walk *walk, size_t place, size_t like, const struct job *job)
{
    struct text *text = open(walk, "elsewhere");
    text_member_integer(text, "place", (int64_t)place);
    text_member_integer(text, "like", (int64_t)like);
    put_outcome(walk, text, job);
    send(walk, text);
}

void walk_tell_away(struct walk *walk, const struct failure *failure)
{
    struct text *outcome = &walk->walks->outcome;
    struct text *text = open(walk, "away");
    text_reset(outcome);
    encode_error(outcome, failure, NULL, NULL, NULL);
    text_key(text, "error");
    text_json(text, outcome->bytes, outcome->length);
    text->failed = text->failed || outcome->failed;
    send(walk, text);
}

void walk_tell_finished(struct walk *walk, const char *why)
{
    struct text *text = open(walk, "finished");
    text_member_string(text, "why", why);
    send(walk, text);
}

static void encode_place(struct text *text, const struct walk *walk, size_t index)
{
    const struct place_record *record = &walk->places[index];
    const struct bench_sheet *sheet = bench_sheet(walk->bench, walk->sheet);
    const struct bench_place *place = &sheet->places[index];
    const struct bench_point *point = &walk->bench->points[place->point];
    text_open(text, '{');
    text_member_string(text, "point", point->name);
    text_member_string(text, "place", place->place);
    text_member_string(text, "picture", place->picture);
    text_member_string(text, "caution", place->caution);
    text_member_string(text, "quantity", quantity_name(point->quantity));
    text_member_string(text, "unit", point->unit);
    text_member_number(text, "expected", point->expected);
    encode_limits(text, &point->limits);
    text_member_string(text, "instrument", walk->bench->instruments[point->instrument].name);
    text_member_integer(text, "input", point->input);
    text_member_string(text, "state", place_state_name(record->state));
    if (record->state == PLACE_READ) {
        text_member_number(text, "value", record->value);
        text_member_string(text, "verdict", verdict_name(record->verdict));
    }
    text_close(text, '}');
}

void walk_encode(struct text *text, const struct walk *walk, bool resumed)
{
    const struct bench_sheet *sheet = bench_sheet(walk->bench, walk->sheet);
    text_open(text, '{');
    text_member_integer(text, "subscription", (int64_t)walk->number);
    text_member_string(text, "walk", walk->name);
    text_member_string(text, "sheet", walk->sheet);
    text_member_string(text, "title", sheet->title);
    text_member_bool(text, "resumed", resumed);
    if (walk->job != NULL) {
        text_key(text, "job");
        text_json(text, walk->job, strlen(walk->job));
    }
    text_member_integer(text, "place", (int64_t)walk->at);
    text_member_open(text, "places", '[');
    for (size_t i = 0; i < walk->count; i++)
        encode_place(text, walk, i);
    text_close(text, ']');
    text_close(text, '}');
}
