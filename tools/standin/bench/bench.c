/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench.h"

#include "describe.h"
#include "tools/standin/basics/alloc.h"
#include "tools/standin/circuit/spread.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void bench_begin(struct bench *bench, struct event_base *base, uint64_t seed,
                 const char *listen_dir)
{
    *bench = (struct bench) { .base = base, .seed = seed, .listen_dir = listen_dir };
    bench->rng = spread_new(seed, "bench");
    clock_begin(&bench->clock);
}

void bench_end(struct bench *bench)
{
    for (size_t i = 0; i < bench->seat_count; i++) {
        port_close(bench->seats[i].port);
        instrument_free(bench->seats[i].instrument);
    }
    for (size_t i = 0; i < bench->source_count; i++)
        free(bench->sources[i]);
    free(bench->seats);
    free(bench->sources);
    gsl_rng_free(bench->rng);
}

static struct seat *seat_named(const struct bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->seat_count; i++)
        if (strcmp(bench->seats[i].instrument->name, name) == 0)
            return &bench->seats[i];
    return NULL;
}

static struct source *source_named(const struct bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->source_count; i++)
        if (strcmp(bench->sources[i]->name, name) == 0)
            return bench->sources[i];
    return NULL;
}

struct seat *bench_seat(const struct bench *bench, const char *name, struct problem *problem)
{
    struct seat *seat = name != NULL ? seat_named(bench, name) : NULL;

    if (seat == NULL)
        problem_tell(problem, "no instrument \"%s\"", name != NULL ? name : "");
    return seat;
}

struct source *bench_source(const struct bench *bench, const char *name, struct problem *problem)
{
    struct source *source = name != NULL ? source_named(bench, name) : NULL;

    if (source == NULL)
        problem_tell(problem, "no source \"%s\"", name != NULL ? name : "");
    return source;
}

/* Where an instrument listens: its own entry, or a socket of its name in the folder. */
static bool listen_place(const struct bench *bench, const struct instrument_plan *plan, char *where,
                         size_t size, struct problem *problem)
{
    int length = bench->listen_dir != NULL
                     ? snprintf(where, size, "unix:%s/%s.sock", bench->listen_dir, plan->name)
                     : snprintf(where, size, "%s", plan->listen);

    if (length <= 0 || (size_t)length >= size)
        return problem_tell(problem, "%s: no place to listen at, or too long a one", plan->name);
    return true;
}

bool bench_add_instrument(struct bench *bench, json_t *fields, struct problem *problem)
{
    struct instrument_plan plan;
    struct seat seat;
    char where[160];

    if (!describe_instrument(fields, &plan, problem) ||
        !listen_place(bench, &plan, where, sizeof where, problem))
        return false;
    if (seat_named(bench, plan.name) != NULL)
        return problem_tell(problem, "instrument \"%s\" is there already", plan.name);
    seat.instrument = instrument_new(&plan, bench->seed);
    seat.port = port_open(bench->base, &bench->clock, seat.instrument, where, &plan, problem);
    if (seat.port == NULL) {
        instrument_free(seat.instrument);
        return false;
    }
    bench->seats = alloc_resize(bench->seats, (bench->seat_count + 1) * sizeof seat);
    bench->seats[bench->seat_count++] = seat;
    return true;
}

static struct source *add_source(struct bench *bench)
{
    struct source *source = alloc_new(1, sizeof *source);

    bench->sources =
        alloc_resize(bench->sources, (bench->source_count + 1) * sizeof bench->sources[0]);
    bench->sources[bench->source_count++] = source;
    return source;
}

bool bench_set_source(struct bench *bench, json_t *fields, const char *name_key,
                      struct problem *problem)
{
    const char *name = json_string_value(json_object_get(fields, name_key));
    struct source *old = name != NULL ? source_named(bench, name) : NULL;
    struct source changed = old != NULL ? *old : source_default(SOURCE_DC);

    if (!describe_source(fields, name_key, old != NULL, &changed, problem) ||
        !source_prepare(&changed, spread_within(bench->rng, 1.0), problem))
        return false;
    if (old != NULL && old->unit != changed.unit)
        return problem_tell(problem, "the unit of \"%s\" cannot change", name);
    changed.set_at = clock_now(&bench->clock);
    *(old != NULL ? old : add_source(bench)) = changed;
    return true;
}

bool bench_connect(struct bench *bench, json_t *fields, struct problem *problem)
{
    struct connection_plan plan;
    struct seat *seat;
    struct tie tie = { .source = NULL };

    if (!describe_connection(fields, &plan, problem) ||
        (seat = bench_seat(bench, plan.instrument, problem)) == NULL)
        return false;
    double inputs = (double)instrument_inputs(seat->instrument);
    if (!(plan.input >= 1.0 && plan.input <= inputs) || plan.input != (double)(int)plan.input)
        return problem_tell(problem, "input: expected 1 to %g", inputs);
    tie.probe = plan.probe;
    if (plan.source[0] != '\0') {
        tie.source = bench_source(bench, plan.source, problem);
        if (tie.source == NULL || !probe_check(&tie.probe, tie.source, problem))
            return false;
    }
    tie.probe.factor_error += spread_within(bench->rng, tie.probe.factor_tolerance);
    seat->instrument->ties[(int)plan.input - 1] = tie;
    return true;
}
