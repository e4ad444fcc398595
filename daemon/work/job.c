/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "job.h"

#include <event2/event.h>
#include <math.h>
#include <stdlib.h>

struct job *job_new(enum job_kind kind, struct bench *bench, const struct bench_point *point)
{
    struct job *job = calloc(1, sizeof *job);
    if (job == NULL)
        return NULL;
    job->kind = kind;
    job->bench = bench_ref(bench);
    job->point = point;
    job->repeats = 1;
    job->duration = NAN;
    return job;
}

bool job_is_first(const struct job *job)
{
    return job->run[0] != '\0';
}

void job_free(struct job *job)
{
    if (job == NULL)
        return;
    if (job->alarm != NULL)
        event_free(job->alarm);
    free(job->capture.samples);
    free(job->command);
    free(job->order);
    free(job->own_point);
    free(job->reply);
    bench_unref(job->bench);
    free(job);
}
