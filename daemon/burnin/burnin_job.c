/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_job.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int compare(const void *a, const void *b)
{
    int one = *(const int *)a;
    int other = *(const int *)b;
    return (one > other) - (one < other);
}

/* The numbers of the units of a plan, each once and in order; their count. For free(). */
static int *units_of(const struct bench_burnin *plan, size_t *count)
{
    int *units = calloc(plan->point_count + 1, sizeof *units);
    *count = 0;
    for (size_t i = 0; units != NULL && i < plan->point_count; i++)
        if (plan->phases[0].points[i]->unit_number != 0)
            units[(*count)++] = plan->phases[0].points[i]->unit_number;
    if (units == NULL)
        return NULL;
    qsort(units, *count, sizeof *units, compare);
    size_t kept = 0;
    for (size_t i = 0; i < *count; i++)
        if (kept == 0 || units[kept - 1] != units[i])
            units[kept++] = units[i];
    *count = kept;
    return units;
}

static bool has_twice(const json_t *list, size_t index)
{
    const char *text = json_string_value(json_array_get(list, index));
    for (size_t i = 0; text != NULL && i < index; i++) {
        const char *other = json_string_value(json_array_get(list, i));
        if (other != NULL && strcmp(other, text) == 0)
            return true;
    }
    return text == NULL;
}

/* Serials by unit number; NULL with the failure set. */
static json_t *assign(const json_t *list, const int *units, size_t count, struct failure *failure)
{
    char expected[64];
    json_t *serials = json_object();
    snprintf(expected, sizeof expected, "%zu, one for each unit of the plan", count);
    if (json_array_size(list) != count)
        failure_set(failure, FAILURE_SETTINGS, NULL, expected, "%zu serial numbers were given",
                    json_array_size(list));
    for (size_t i = 0; i < count && failure->code == FAILURE_NONE; i++) {
        char number[16];
        snprintf(number, sizeof number, "%d", units[i]);
        if (has_twice(list, i))
            failure_set(failure, FAILURE_SETTINGS, NULL, "each once",
                        "serial number %zu of the list stands there twice", i + 1);
        else
            json_object_set(serials, number, json_array_get(list, i));
    }
    if (failure->code == FAILURE_NONE)
        return serials;
    json_decref(serials);
    return NULL;
}

json_t *burnin_job_read(const char *order, const struct bench_burnin *plan, struct failure *failure)
{
    size_t count = 0;
    json_t *job = json_loads(order, 0, NULL);
    json_t *list = json_object_get(job, "serials");
    if (job == NULL)
        failure_no_memory(failure, "the job");
    if (list == NULL)
        return job;
    int *units = units_of(plan, &count);
    json_t *serials = units != NULL ? assign(list, units, count, failure) : NULL;
    free(units);
    if (serials != NULL && json_object_set_new(job, "serials", serials) == 0)
        return job;
    failure_no_memory(failure, "the serial numbers"); /* the first cause wins */
    json_decref(job);
    return NULL;
}

char *burnin_job_of(json_t *job, int unit_number)
{
    char number[16];
    json_t *own = job != NULL ? json_copy(job) : NULL;
    if (own == NULL)
        return NULL;
    snprintf(number, sizeof number, "%d", unit_number);
    json_t *serial = json_object_get(json_object_get(own, "serials"), number);
    if (serial != NULL)
        json_object_set(own, "serial", serial);
    json_object_del(own, "serials");
    char *text = json_dumps(own, JSON_COMPACT | JSON_SORT_KEYS);
    json_decref(own);
    return text;
}

void burnin_job_member(struct text *text, const json_t *job)
{
    char *written = job != NULL ? json_dumps(job, JSON_COMPACT) : NULL;
    if (job == NULL)
        return;
    text_key(text, "job");
    text->failed = text->failed || written == NULL;
    if (written != NULL)
        text_json(text, written, strlen(written));
    free(written);
}
