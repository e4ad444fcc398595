/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits from the readings of units that somebody says are good, and a unit compared with them. */
#include "calls.h"

#include "daemon/basics/body.h"
#include "daemon/store/store_look.h"
#include "methods.h"
#include "service.h"

#include "core/tolerance/tolerance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { UNITS_MOST = 1000 };

/* A reading of a unit. */
struct sample {
    const char *serial;
    double value;
    double uncertainty; /* expanded */
};

/* The question: its sheet in the bench as it was asked, whose units, and how far it has come. */
struct learning {
    struct store_query query;
    struct bench *bench; /* a reference */
    const struct bench_sheet *sheet;
    json_t *good;   /* serial numbers, owned */
    char *compared; /* another one; owned; NULL: none */
    struct tolerance_claim claim;
    size_t place;           /* whose turn it is */
    struct sample *samples; /* room for all units; owned */
};

/* What is known of one point. */
struct lesson {
    const struct bench_point *point;
    size_t count;         /* good units with a reading that can be used */
    size_t unusable;      /* readings that were altered, or of another quantity */
    double uncertainty;   /* the largest of them; 0: there is none */
    const char *furthest; /* the unit furthest from the middle */
    enum tolerance_sides sides;
    struct tolerance tolerance;
};

/* Whether a row is of what the point measures today, as it was written. */
static bool usable(const struct bench_point *point, const struct store_row *row, bool intact)
{
    json_t *body = intact ? json_loads(row->body, 0, NULL) : NULL;
    bool good = body != NULL && isfinite(row->value) && row->uncertainty > 0 &&
                isfinite(row->uncertainty) && row->unit != NULL &&
                strcmp(row->unit, point->unit) == 0 &&
                strcmp(body_text(body, "quantity"), quantity_name(point->quantity)) == 0;
    json_decref(body);
    return good;
}

/* The newest reading of a unit at a point. False when the store fails; without one, `found` is cleared. */
static bool read_unit(struct learning *asked, const struct store_look *look, const char *serial,
                      struct lesson *lesson, struct sample *sample, bool *found)
{
    struct store_rows rows = store_rows_of_unit(look, lesson->point->name, serial);
    struct store_row row;
    bool intact;
    *found = false;
    if (store_rows_next_checked(&rows, &row, &intact)) {
        *found = usable(lesson->point, &row, intact);
        lesson->unusable += !*found;
        *sample = (struct sample) { serial, row.value, row.uncertainty };
    }
    return store_rows_end(&rows, &asked->query.failure);
}

static int ascending(const void *a, const void *b)
{
    const struct sample *first = a, *second = b;
    return (first->value > second->value) - (first->value < second->value);
}

static enum tolerance_sides sides_of(const struct limits *limits)
{
    if (!limits_present(limits) || (isfinite(limits->low) && isfinite(limits->high)))
        return TOLERANCE_TWO_SIDED;
    return isfinite(limits->high) ? TOLERANCE_UPPER : TOLERANCE_LOWER;
}

/* Makes the interval of the samples that are there. False when memory is short. */
static bool conclude(struct learning *asked, struct lesson *lesson)
{
    struct sample *samples = asked->samples;
    double *values = calloc(lesson->count + 1, sizeof *values);
    if (values == NULL)
        return failure_no_memory(&asked->query.failure, "the readings");
    qsort(samples, lesson->count, sizeof *samples, ascending);
    for (size_t i = 0; i < lesson->count; i++) {
        values[i] = samples[i].value;
        lesson->uncertainty = fmax(lesson->uncertainty, samples[i].uncertainty);
    }
    lesson->sides = sides_of(&lesson->point->limits);
    tolerance_make(values, lesson->count, asked->claim, lesson->sides, &lesson->tolerance);
    free(values);
    double mean = lesson->tolerance.mean;
    if (lesson->count > 0)
        lesson->furthest = mean - samples[0].value > samples[lesson->count - 1].value - mean
                               ? samples[0].serial
                               : samples[lesson->count - 1].serial;
    return true;
}

/* Bounds of the value: moved outwards by the uncertainty, and not below zero where there is nothing. */
static double low_of(const struct lesson *lesson)
{
    double low = lesson->tolerance.low - lesson->uncertainty;
    bool signless = aspect_has_no_sign(quantity_aspect(lesson->point->quantity));
    return low < 0 && isfinite(low) && signless ? 0 : low;
}

static double high_of(const struct lesson *lesson)
{
    return lesson->tolerance.high + lesson->uncertainty;
}

/* The unit that is compared: how far it is, in spreads and in uncertainties. */
static void encode_compared(struct text *text, const struct lesson *lesson,
                            const struct sample *sample)
{
    const struct tolerance *tolerance = &lesson->tolerance;
    double away = sample->value - tolerance->mean;
    double both = hypot(sample->uncertainty, lesson->uncertainty);
    text_key(text, "compared");
    text_open(text, '{');
    text_member_string(text, "serial", sample->serial);
    text_member_number(text, "value", sample->value);
    text_member_number(text, "uncertainty", sample->uncertainty);
    if (lesson->count > 0) {
        text_member_number(text, "away", away);
        text_member_number(text, "uncertainties", away / both);
        if (tolerance->deviation > 0)
            text_member_number(text, "spreads", away / tolerance->deviation);
    }
    if (!isnan(tolerance->low))
        text_member_bool(text, "inside",
                         sample->value >= low_of(lesson) && sample->value <= high_of(lesson));
    text_close(text, '}');
}

static const char *kind_name(enum tolerance_kind kind)
{
    static const char *const names[] = { [TOLERANCE_NORMAL] = "normal",
                                         [TOLERANCE_FREE] = "values",
                                         [TOLERANCE_TOO_FEW] = "too few",
                                         [TOLERANCE_ODD] = "not normal" };
    return names[kind];
}

static void encode_lesson(struct text *text, const struct lesson *lesson)
{
    const struct tolerance *tolerance = &lesson->tolerance;
    bool comparable = lesson->point->limits.judged == JUDGED_VALUE;
    text_member_string(text, "point", lesson->point->name);
    text_member_string(text, "quantity", quantity_name(lesson->point->quantity));
    text_member_string(text, "unit", lesson->point->unit);
    encode_limits(text, &lesson->point->limits);
    text_member_integer(text, "units", (int64_t)lesson->count);
    text_member_integer(text, "unusable", (int64_t)lesson->unusable);
    text_member_string(text, "kind", comparable ? kind_name(tolerance->kind) : "not of the value");
    if (lesson->count > 0) {
        text_member_number(text, "mean", tolerance->mean);
        text_member_number(text, "uncertainty", lesson->uncertainty);
        text_member_string(text, "furthest", lesson->furthest);
    }
    text_member_number(text, "deviation", tolerance->deviation);
    text_member_number(text, "normality", tolerance->normality);
    text_member_number(text, "factor", tolerance->factor);
    if (tolerance->needed > 0)
        text_member_integer(text, "needed", (int64_t)tolerance->needed);
    if (comparable && isfinite(tolerance->low))
        text_member_number(text, "low", low_of(lesson));
    if (comparable && isfinite(tolerance->high))
        text_member_number(text, "high", high_of(lesson));
}

/* One point of the sheet. */
static bool learn_place(struct learning *asked, const struct store_look *look)
{
    const struct bench_place *place = &asked->sheet->places[asked->place];
    struct text *text = &asked->query.text;
    struct lesson lesson = { .point = &asked->bench->points[place->point] };
    struct sample compared = { 0 };
    bool found = false;
    for (size_t i = 0; i < json_array_size(asked->good); i++) {
        const char *serial = json_string_value(json_array_get(asked->good, i));
        if (!read_unit(asked, look, serial, &lesson, &asked->samples[lesson.count], &found))
            return false;
        lesson.count += found;
    }
    if (!conclude(asked, &lesson))
        return false;
    if (asked->compared != NULL &&
        !read_unit(asked, look, asked->compared, &lesson, &compared, &found))
        return false;
    text_open(text, '{');
    encode_lesson(text, &lesson);
    if (asked->compared != NULL && found)
        encode_compared(text, &lesson, &compared);
    text_close(text, '}');
    return true;
}

/* A point at a time, so that others have their turn between them. */
static bool learn(struct store_query *query, const struct store_look *look, bool *ended)
{
    struct learning *asked = (struct learning *)query;
    struct text *text = &query->text;
    if (asked->place == 0) {
        text_open(text, '{');
        text_member_string(text, "sheet", asked->sheet->name);
        text_member_number(text, "coverage", asked->claim.coverage);
        text_member_number(text, "confidence", asked->claim.confidence);
        text_key(text, "points");
        text_open(text, '[');
    }
    bool good = asked->place >= asked->sheet->place_count || learn_place(asked, look);
    asked->place++;
    *ended = !good || asked->place >= asked->sheet->place_count;
    if (*ended) {
        text_close(text, ']');
        text_close(text, '}');
    }
    return good;
}

static void forget(struct store_query *query)
{
    struct learning *asked = (struct learning *)query;
    bench_unref(asked->bench);
    json_decref(asked->good);
    free(asked->compared);
    free(asked->samples);
}

/* The serial numbers, each once. NULL with the failure set. */
static json_t *read_serials(const json_t *given, const char *compared, struct failure *failure)
{
    json_t *good = json_array();
    for (size_t i = 0; i < json_array_size(given); i++) {
        const char *serial = json_string_value(json_array_get(given, i));
        for (size_t k = 0; k < i; k++)
            if (strcmp(serial, json_string_value(json_array_get(given, k))) == 0)
                failure_set(failure, FAILURE_SETTINGS, NULL, "each unit once",
                            "unit %.80s is named twice", serial);
        if (compared != NULL && strcmp(serial, compared) == 0)
            failure_set(failure, FAILURE_SETTINGS, NULL, "a unit that is not among the good ones",
                        "unit %.80s would be compared with itself", serial);
        json_array_append_new(good, json_string(serial));
    }
    if (json_array_size(given) > UNITS_MOST)
        failure_set(failure, FAILURE_SETTINGS, NULL, "1000 units at most", "%zu units were named",
                    json_array_size(given));
    if (failure->code == FAILURE_NONE && json_array_size(good) == json_array_size(given))
        return good;
    json_decref(good);
    failure_no_memory(failure, "the serial numbers"); /* the first cause wins */
    return NULL;
}

static struct store_query *ask_for(const struct loop *loop, const struct rpc_value *values,
                                   struct failure *failure)
{
    const struct bench_sheet *sheet = loop_sheet(loop, values[LEARN_SHEET].text, failure);
    const char *compared = values[LEARN_COMPARE].given ? values[LEARN_COMPARE].text : NULL;
    json_t *good = sheet != NULL ? read_serials(values[LEARN_GOOD].texts, compared, failure) : NULL;
    if (good == NULL)
        return NULL;
    struct learning *asked = store_query_new(sizeof *asked, learn);
    if (asked == NULL) {
        json_decref(good);
        return NULL;
    }
    asked->query.forget = forget;
    asked->bench = bench_ref(loop->bench);
    asked->sheet = sheet;
    asked->good = good;
    asked->claim =
        (struct tolerance_claim) { values[LEARN_COVERAGE].number, values[LEARN_CONFIDENCE].number };
    asked->samples = calloc(json_array_size(good) + 1, sizeof *asked->samples);
    asked->compared = compared != NULL ? strdup(compared) : NULL;
    if (asked->samples != NULL && (compared == NULL || asked->compared != NULL))
        return &asked->query;
    store_query_free(&asked->query);
    return NULL;
}

void call_learn(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    if (!call_has_store(service, call))
        return;
    struct store_query *query = ask_for(service->loop, values, &failure);
    if (failure.code != FAILURE_NONE)
        call_refuse(service->loop, call, &failure);
    else
        call_ask(service, call, query);
}
