/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_record.h"

#include "daemon/basics/body.h"

#include "daemon/basics/wall_clock.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct record *record_new(const char *kind, struct wall_time time)
{
    struct record *record = calloc(1, sizeof *record);
    if (record == NULL)
        return NULL;
    record->kind = kind;
    record->value = NAN;
    record->uncertainty = NAN;
    record->at = time;
    encode_time(record->time, time);
    return record;
}

void record_free(struct record *record)
{
    if (record == NULL)
        return;
    bench_unref(record->bench);
    text_free(&record->body);
    free(record);
}

/* What came to nothing is found again by its job as well. */
static void add_order(struct text *body, const char *order)
{
    static const char member[] = ",\"job\":";
    if (order == NULL || body->failed || body->length == 0)
        return;
    body->length--; /* the brace that closes it */
    text_raw(body, member, sizeof member - 1);
    text_raw(body, order, strlen(order));
    text_raw(body, "}", 1);
}

static void read_outcome(struct record *record, const struct occasion *occasion,
                         const struct reading *reading)
{
    snprintf(record->unit, sizeof record->unit, "%s", occasion->point->unit);
    if (!reading_value(reading, &record->value, &record->uncertainty)) {
        record->value = NAN;
        record->uncertainty = NAN;
        record->reason = failure_reason(reading->failure.code);
        encode_error(&record->body, &reading->failure, occasion->bench, occasion->point, reading);
        add_order(&record->body, occasion->order);
        return;
    }
    record->verdict = verdict_name(reading->judgement.verdict);
    encode_reading(&record->body, occasion, reading);
}

/* What the reading is found by; order_read() has seen to it that it fits. */
static void read_order(struct record *record, const char *order)
{
    json_t *body = json_loads(order, 0, NULL);
    snprintf(record->job, sizeof record->job, "%s", body_text(body, "name"));
    snprintf(record->serial, sizeof record->serial, "%s", body_text(body, "serial"));
    json_decref(body);
}

struct record *record_reading(struct bench *bench, const struct occasion *occasion,
                              const struct reading *reading)
{
    const struct bench_instrument *instrument =
        &occasion->bench->instruments[occasion->point->instrument];
    struct record *record = record_new("reading", occasion->time);
    if (record == NULL)
        return NULL;
    record->bench = bench_ref(bench);
    record->sequence = (int64_t)occasion->sequence;
    snprintf(record->point, sizeof record->point, "%s", occasion->point->name);
    snprintf(record->instrument, sizeof record->instrument, "%s", instrument->name);
    snprintf(record->identity, sizeof record->identity, "%s", occasion->identity);
    snprintf(record->calibration_due, sizeof record->calibration_due, "%s",
             instrument->calibration_due);
    read_outcome(record, occasion, reading);
    if (occasion->order != NULL)
        read_order(record, occasion->order);
    if (record->body.failed) {
        record_free(record);
        return NULL;
    }
    return record;
}

struct record *record_event(const char *kind, const char *run, struct wall_time time,
                            const char *body)
{
    struct record *record = record_new(kind, time);
    if (record == NULL)
        return NULL;
    record_set_run(record, run, 0);
    if (body != NULL)
        text_raw(&record->body, body, strlen(body));
    if (record->body.failed) {
        record_free(record);
        return NULL;
    }
    return record;
}

void record_set_run(struct record *record, const char *run, int64_t round)
{
    snprintf(record->run, sizeof record->run, "%s", run);
    record->round = round;
}
