/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a name to a point, from a point to its instrument, and what comes back. */
#include "loop.h"

#include "core/basics/nearest.h"
#include "daemon/settings/loose_point.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* There is no such name; `otherwise` is what is expected where no name is near. */
static void say_nearest(const struct nearest *nearest, const char *what, const char *name,
                        const char *otherwise, enum failure_code code, struct failure *failure)
{
    char expected[160];
    if (nearest->word != NULL)
        snprintf(expected, sizeof expected, "perhaps %.140s", nearest->word);
    else
        snprintf(expected, sizeof expected, "%s", otherwise);
    failure_set(failure, code, NULL, expected, "there is no %s %.120s", what, name);
}

const struct bench_point *loop_point(const struct loop *loop, const char *name,
                                     struct failure *failure)
{
    const struct bench *bench = loop->bench;
    const struct bench_point *point = bench_point(bench, name);
    if (point != NULL)
        return point;
    struct nearest nearest = { 0 };
    for (size_t i = 0; i < bench->point_count; i++)
        nearest_offer(&nearest, name, bench->points[i].name);
    say_nearest(&nearest, "point", name, "", FAILURE_UNKNOWN_POINT, failure);
    return NULL;
}

const struct bench_sheet *loop_sheet(const struct loop *loop, const char *name,
                                     struct failure *failure)
{
    const struct bench_sheet *sheet = bench_sheet(loop->bench, name);
    struct nearest nearest = { 0 };
    char otherwise[160] = "sheets in the settings";
    if (sheet != NULL)
        return sheet;
    for (size_t i = 0; i < loop->bench->sheet_count; i++)
        nearest_offer(&nearest, name, loop->bench->sheets[i].name);
    if (loop->bench->sheet_count > 0)
        snprintf(otherwise, sizeof otherwise, "for instance %.140s", loop->bench->sheets[0].name);
    say_nearest(&nearest, "sheet", name, otherwise, FAILURE_SETTINGS, failure);
    return NULL;
}

struct job *loop_loose_job(const struct loop *loop, json_t *keys, struct failure *failure)
{
    struct bench_point *point = loose_point(loop->bench, keys, failure);
    struct job *job = point != NULL ? job_new(JOB_MEASURE, loop->bench, point) : NULL;
    if (job != NULL) {
        job->own_point = point;
        return job;
    }
    free(point);
    failure_no_memory(failure, "a job"); /* the first cause wins */
    return NULL;
}

bool loop_instrument(const struct loop *loop, const char *name, size_t *index,
                     struct failure *failure)
{
    const struct bench *bench = loop->bench;
    struct nearest nearest = { 0 };
    const struct bench_instrument *instrument = bench_instrument(bench, name);
    if (instrument != NULL) {
        *index = (size_t)(instrument - bench->instruments);
        return true;
    }
    for (size_t i = 0; i < bench->instrument_count; i++)
        nearest_offer(&nearest, name, bench->instruments[i].name);
    say_nearest(&nearest, "instrument", name, "", FAILURE_UNKNOWN_INSTRUMENT, failure);
    return false;
}

/* The zeros of the leads that the job goes through, by value: the worker sees no others. */
static void give_zeros(const struct loop *loop, struct job *job)
{
    const struct bench_point *point = job->point;
    if (point == NULL || job->kind == JOB_ZERO)
        return;
    job->zeros.own = probe_checks_zero(loop->probe_checks, job->bench, point);
    if (point->reference != BENCH_NO_POINT)
        job->zeros.reference = probe_checks_zero(loop->probe_checks, job->bench,
                                                 &job->bench->points[point->reference]);
}

bool loop_submit(struct loop *loop, struct job *job, size_t instrument, struct session *session,
                 double deadline_ms, struct failure *failure)
{
    struct station *station = crew_station(loop->crew, instrument);
    if (station == NULL)
        return failure_set(failure, FAILURE_STOPPING, NULL, NULL, "no new work is accepted");
    give_zeros(loop, job);
    return station_submit(station, job, session, deadline_ms, failure);
}

struct occasion job_occasion(const struct job *job)
{
    struct occasion occasion = { .bench = job->bench,
                                 .point = job->point,
                                 .identity = job->status.identity,
                                 .time = job->taken,
                                 .sequence = job->sequence,
                                 .order = job->order,
                                 .frequency = NAN };
    if (job->memory.known)
        occasion.frequency = job->memory.signal.frequency;
    return occasion;
}

struct text *loop_text(struct loop *loop)
{
    text_reset(&loop->scratch);
    return &loop->scratch;
}

void call_refuse(struct loop *loop, struct rpc_call *call, const struct failure *failure)
{
    call_refuse_with(loop, call, failure, NULL, NULL, NULL);
}

void call_refuse_with(struct loop *loop, struct rpc_call *call, const struct failure *failure,
                      const struct bench *bench, const struct bench_point *point,
                      const struct reading *reading)
{
    struct text *data = loop_text(loop);
    encode_failure_data(data, failure, bench, point, reading);
    rpc_fail(call, failure_rpc_code(failure->code), failure_reason(failure->code), data);
}
