/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether two instruments agree about a place: a point by two of its
 * ways, or two points that are the same place. Both are read at the same time.
 */
#include "calls.h"

#include "core/uncertainty/agreement.h"
#include "core/uncertainty/expand.h"
#include "core/uncertainty/relative.h"
#include "encode_findings.h"
#include "methods.h"
#include "service.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BOTH = 2 };

struct agreement;

/* One of the two readings. */
struct half {
    struct agreement *agreement;
    struct job *job;     /* NULL when it is not under way */
    struct text reading; /* as it is answered */
    struct evaluated value;
    struct budget budget;
    struct expanded expanded;
};

struct agreement {
    struct service *service;
    struct rpc_call *call;
    char unit[PROBE_UNIT];
    bool one_probe; /* both are read through the same one, moved by hand */
    size_t open;    /* jobs that are not back */
    struct failure failure;
    struct half sides[BOTH];
};

static void agreement_free(struct agreement *agreement)
{
    for (size_t i = 0; i < BOTH; i++)
        text_free(&agreement->sides[i].reading);
    free(agreement);
}

/*
 * What two readings through different instruments have in common: the circuit
 * that is loaded, and the probe where it is the same one. What stands behind
 * the probe is another input each time.
 */
static size_t shared_of(const struct agreement *agreement, struct shared shared[RELATIVE_SHARED])
{
    size_t count = 0;
    shared[count++] = (struct shared) { "loading, source resistance", 1, false };
    if (agreement->one_probe) {
        shared[count++] = (struct shared) { "probe factor", 1, false };
        shared[count++] = (struct shared) { "probe offset", 1, false };
    }
    return count;
}

/* The correlation coefficient that makes the two uncertainties the difference's. */
static double correlation_of(const struct half *a, const struct half *b, double difference)
{
    double product = 2 * a->expanded.standard * b->expanded.standard;
    double sum =
        a->expanded.standard * a->expanded.standard + b->expanded.standard * b->expanded.standard;
    return product > 0 ? fmax(-1, fmin(1, (sum - difference * difference) / product)) : 0;
}

static bool compare(const struct agreement *agreement, struct agreement_finding *finding,
                    struct failure *failure)
{
    const struct half *a = &agreement->sides[0], *b = &agreement->sides[1];
    struct shared shared[RELATIVE_SHARED];
    size_t count = shared_of(agreement, shared);
    struct comparison difference;
    if (!relative_compare(JUDGED_DIFFERENCE, &a->value, &b->value, shared, count, &difference))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, NULL, "the readings do not compare");
    double correlation = correlation_of(a, b, difference.expanded.standard);
    const struct side_value one = { a->value.value, a->expanded.uncertainty };
    const struct side_value other = { b->value.value, b->expanded.uncertainty };
    double en = agreement_en(&one, &other, correlation);
    if (!isfinite(en))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, NULL,
                           "nothing is left of the uncertainty although the values differ");
    *finding = (struct agreement_finding) {
        .en = en,
        .agree = agreement_holds(en),
        .correlation = correlation,
        .difference = difference,
        .unit = agreement->unit,
        .readings = { &a->reading, &b->reading },
    };
    return true;
}

static void conclude(struct agreement *agreement)
{
    struct failure *failure = &agreement->failure;
    struct loop *loop = agreement->service->loop;
    struct agreement_finding finding;
    if (failure->code != FAILURE_NONE || !compare(agreement, &finding, failure)) {
        call_refuse(loop, agreement->call, failure);
    } else {
        struct text *text = loop_text(loop);
        encode_agreement(text, &finding);
        rpc_result(agreement->call, text);
    }
    agreement_free(agreement);
}

/* Keeps what the answer is made of; the job goes when this returns. */
static void take(struct half *side, const struct job *job)
{
    const struct occasion occasion = job_occasion(job);
    const struct reading *reading = &job->capture.reading;
    double uncertainty;
    reading_value(reading, &side->value.value, &uncertainty);
    side->budget = reading->budget;
    side->value.budget = &side->budget;
    side->expanded = reading->expanded;
    encode_reading(&side->reading, &occasion, reading);
}

static void on_done(struct job *job, const struct failure *refusal)
{
    struct half *side = job->owner;
    struct agreement *agreement = side->agreement;
    const struct failure *failure = refusal != NULL ? refusal : &job->capture.reading.failure;
    side->job = NULL;
    if (failure->code == FAILURE_NONE) {
        take(side, job);
    } else if (agreement->failure.code == FAILURE_NONE) {
        const struct bench *bench = job->bench;
        failure_set(&agreement->failure, failure->code,
                    bench->instruments[job->point->instrument].name, failure->expected,
                    "%s: %.160s", job->point->name, failure->what);
    }
    if (--agreement->open == 0)
        conclude(agreement);
}

/* A job for a copy of a point without limits, in one of its ways or its own; NULL: memory. */
static struct job *job_by_way(struct service *service, const struct bench_point *point,
                              const size_t *way)
{
    struct bench_point *copy = malloc(sizeof *copy);
    if (copy == NULL)
        return NULL;
    *copy = *point;
    if (way != NULL)
        bench_use_way(copy, *way);
    bench_drop_limits(copy);
    struct job *job = job_new(JOB_MEASURE, service->loop->bench, copy);
    if (job == NULL)
        free(copy);
    else
        job->own_point = copy;
    return job;
}

/* The way on an instrument; false when there is none that can see the signal. */
static bool find_way(const struct bench *bench, const struct bench_point *point, const char *name,
                     size_t *index, struct failure *failure)
{
    for (size_t i = 0; i < point->way_count; i++) {
        const struct bench_way *way = &point->ways[i];
        if (strcmp(bench->instruments[way->instrument].name, name) != 0)
            continue;
        *index = i;
        return way->refusal[0] == '\0' || failure_set(failure, FAILURE_UNSUPPORTED, name, NULL,
                                                      "%s: %.160s", point->name, way->refusal);
    }
    return failure_set(failure, FAILURE_UNKNOWN_INSTRUMENT, NULL, "one of the point's ways",
                       "point %s is not measured with instrument %.64s", point->name, name);
}

/* The used way, and the one with the least uncertainty on another instrument. */
static bool best_ways(const struct bench_point *point, size_t ways[BOTH], struct failure *failure)
{
    bool found = false;
    ways[0] = point->way_used;
    for (size_t i = 0; i < point->way_count; i++) {
        const struct bench_way *way = &point->ways[i];
        if (way->refusal[0] != '\0' || way->instrument == point->instrument)
            continue;
        if (!found || way->standard < point->ways[ways[1]].standard)
            ways[1] = i;
        found = true;
    }
    return found || failure_set(failure, FAILURE_UNSUPPORTED, point->name,
                                "ways on two instruments that can see the signal",
                                "there is no second instrument to compare with");
}

static bool named_ways(const struct bench *bench, const struct bench_point *point, json_t *names,
                       size_t ways[BOTH], struct failure *failure)
{
    if (json_array_size(names) != BOTH)
        return failure_set(failure, FAILURE_UNSUPPORTED, point->name, "two instruments",
                           "%zu instruments are named", json_array_size(names));
    for (size_t i = 0; i < BOTH; i++)
        if (!find_way(bench, point, json_string_value(json_array_get(names, i)), &ways[i], failure))
            return false;
    return point->ways[ways[0]].instrument != point->ways[ways[1]].instrument ||
           failure_set(failure, FAILURE_UNSUPPORTED, point->name, "two instruments",
                       "both are the same one");
}

/* The jobs for one point in two of its ways; true with both. */
static bool jobs_of_point(struct service *service, const char *name, const struct rpc_value *names,
                          struct job *jobs[BOTH], struct failure *failure)
{
    const struct bench_point *point = loop_point(service->loop, name, failure);
    size_t ways[BOTH] = { 0, 0 };
    if (point == NULL ||
        !(names->given ? named_ways(service->loop->bench, point, names->texts, ways, failure)
                       : best_ways(point, ways, failure)))
        return false;
    for (size_t i = 0; i < BOTH; i++) {
        jobs[i] = job_by_way(service, point, &ways[i]);
        if (jobs[i] == NULL)
            return failure_no_memory(failure, "a job");
    }
    return true;
}

/* The jobs for two points that are one place. */
static bool jobs_of_places(struct service *service, const struct rpc_value *values,
                           struct job *jobs[BOTH], struct failure *failure)
{
    const struct bench_point *points[BOTH];
    for (size_t i = 0; i < BOTH; i++) {
        points[i] = loop_point(service->loop, values[AGREE_FIRST + i].text, failure);
        if (points[i] == NULL)
            return false;
    }
    if (points[0]->quantity != points[1]->quantity || strcmp(points[0]->unit, points[1]->unit) != 0)
        return failure_set(failure, FAILURE_UNSUPPORTED, points[1]->name,
                           quantity_name(points[0]->quantity), "it measures %s",
                           quantity_name(points[1]->quantity));
    if (points[0]->instrument == points[1]->instrument)
        return failure_set(failure, FAILURE_UNSUPPORTED, points[1]->name, "another instrument",
                           "both are measured with the same one");
    for (size_t i = 0; i < BOTH; i++) {
        jobs[i] = job_by_way(service, points[i], NULL);
        if (jobs[i] == NULL)
            return failure_no_memory(failure, "a job");
    }
    return true;
}

/* Hands both over; what cannot be begun ends the other one as well. */
static bool begin(struct agreement *agreement, struct job *jobs[BOTH], double deadline_ms,
                  struct failure *failure)
{
    struct session *session = rpc_call_peer(agreement->call);
    for (size_t i = 0; i < BOTH; i++) {
        struct half *side = &agreement->sides[i];
        side->agreement = agreement;
        jobs[i]->done = on_done;
        jobs[i]->owner = side;
        if (!loop_submit(agreement->service->loop, jobs[i], jobs[i]->point->instrument, session,
                         deadline_ms, failure)) {
            if (i > 0)
                station_drop(jobs[0]);
            if (i > 0)
                jobs[0] = NULL;
            return false;
        }
        agreement->open++;
    }
    return true;
}

static bool agree_about(struct service *service, struct rpc_call *call,
                        const struct rpc_value *values, struct job *jobs[BOTH],
                        struct failure *failure)
{
    bool one = values[AGREE_POINT].given;
    bool places = values[AGREE_FIRST].given && values[AGREE_SECOND].given;
    if (one == places || (one && (values[AGREE_FIRST].given || values[AGREE_SECOND].given)) ||
        (places && values[AGREE_INSTRUMENTS].given))
        return failure_set(failure, FAILURE_UNSUPPORTED, NULL,
                           "point, perhaps with instruments; or first and second",
                           "it is not clear what is to be compared");
    if (!(one ? jobs_of_point(service, values[AGREE_POINT].text, &values[AGREE_INSTRUMENTS], jobs,
                              failure)
              : jobs_of_places(service, values, jobs, failure)))
        return false;
    struct agreement *agreement = calloc(1, sizeof *agreement);
    if (agreement == NULL || jobs[0] == NULL || jobs[1] == NULL) {
        free(agreement);
        return failure_no_memory(failure, "a comparison");
    }
    agreement->service = service;
    agreement->call = call;
    agreement->one_probe = jobs[0]->point->probe == jobs[1]->point->probe;
    memcpy(agreement->unit, jobs[0]->point->unit, sizeof agreement->unit);
    if (begin(agreement, jobs, values[AGREE_DEADLINE].number, failure))
        return true;
    agreement_free(agreement);
    return false;
}

void call_agree(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct job *jobs[BOTH] = { NULL, NULL };
    struct failure failure = { 0 };
    if (agree_about(service, call, values, jobs, &failure))
        return;
    for (size_t i = 0; i < BOTH; i++)
        job_free(jobs[i]);
    call_refuse(service->loop, call, &failure);
}
