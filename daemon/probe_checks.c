/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "probe_checks.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

/* A probe at an input, by names: a reload may number them anew. */
struct probe_check {
    char probe[BENCH_NAME];
    char instrument[BENCH_NAME];
    int input;
    struct compensation found;
    int64_t when;
    SLIST_ENTRY(probe_check) next;
};

struct probe_checks {
    SLIST_HEAD(, probe_check) all;
};

struct probe_checks *probe_checks_new(void)
{
    struct probe_checks *checks = calloc(1, sizeof *checks);
    if (checks != NULL)
        SLIST_INIT(&checks->all);
    return checks;
}

void probe_checks_free(struct probe_checks *checks)
{
    while (checks != NULL && !SLIST_EMPTY(&checks->all)) {
        struct probe_check *check = SLIST_FIRST(&checks->all);
        SLIST_REMOVE_HEAD(&checks->all, next);
        free(check);
    }
    free(checks);
}

static struct probe_check *find(const struct probe_checks *checks, const struct bench *bench,
                                const struct bench_point *point)
{
    struct probe_check *check;
    SLIST_FOREACH(check, &checks->all, next)
    if (strcmp(check->probe, bench->probes[point->probe].name) == 0 &&
        strcmp(check->instrument, bench->instruments[point->instrument].name) == 0 &&
        check->input == point->input)
        return check;
    return NULL;
}

bool probe_checks_note(struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, const struct compensation *found,
                       int64_t now)
{
    struct probe_check *check = find(checks, bench, point);
    if (check == NULL) {
        check = calloc(1, sizeof *check);
        if (check == NULL)
            return false;
        snprintf(check->probe, sizeof check->probe, "%s", bench->probes[point->probe].name);
        snprintf(check->instrument, sizeof check->instrument, "%s",
                 bench->instruments[point->instrument].name);
        check->input = point->input;
        SLIST_INSERT_HEAD(&checks->all, check, next);
    }
    check->found = *found;
    check->when = now;
    return true;
}

bool probe_checks_good(const struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, double most_s, int64_t now,
                       struct failure *failure)
{
    const struct probe *probe = &bench->probes[point->probe];
    const struct probe_check *check = find(checks, bench, point);
    if (isnan(probe->load_resistance) && check == NULL)
        return true;
    if (check == NULL)
        return failure_set(failure, FAILURE_MISTAKE, point->name, "a check of its compensation",
                           "probe %s was not checked since the daemon started", probe->name);
    if (check->found.kind != COMPENSATION_RIGHT)
        return failure_set(failure, FAILURE_MISTAKE, point->name, "a compensated probe",
                           "probe %s is %s: ratio %.4g", probe->name,
                           compensation_name(check->found.kind), check->found.ratio);
    double age = (double)(now - check->when) / 1e9;
    return age <= most_s || failure_set(failure, FAILURE_MISTAKE, point->name, NULL,
                                        "probe %s was checked %.0f s ago, at most %.0f s are asked",
                                        probe->name, age, most_s);
}
