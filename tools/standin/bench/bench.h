/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The whole bench: instruments on their sockets, sources, and what is tied to what. */
#ifndef STANDIN_BENCH_H
#define STANDIN_BENCH_H

#include "port.h"
#include "tools/standin/basics/clock.h"
#include "tools/standin/basics/problem.h"
#include "tools/standin/instrument/instrument.h"

#include <event2/event.h>
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* An instrument and its socket. */
struct seat {
    struct instrument *instrument;
    struct port *port;
};

struct bench {
    struct event_base *base;
    struct bench_clock clock;
    const char *listen_dir; /* NULL: each instrument listens where its entry says */
    uint64_t seed;
    gsl_rng *rng; /* for tolerances */
    size_t seat_count;
    struct seat *seats;
    size_t source_count;
    struct source **sources; /* each allocated alone: ties point at them */
};

/* An empty bench; base and listen_dir are borrowed. */
void bench_begin(struct bench *bench, struct event_base *base, uint64_t seed,
                 const char *listen_dir);

/* Closes all sockets and frees everything. */
void bench_end(struct bench *bench);

/* Adds an instrument from its fields and opens its socket. */
bool bench_add_instrument(struct bench *bench, json_t *fields, struct problem *problem);

/*
 * Adds a source, or changes fields of the one of that name; what is tied to
 * it stays tied. With `kind` among the fields all others begin anew. The
 * unit of a source that is there cannot change.
 */
bool bench_set_source(struct bench *bench, json_t *fields, const char *name_key,
                      struct problem *problem);

/* Ties an input to a source through a probe; without `source` the input is left open. */
bool bench_connect(struct bench *bench, json_t *fields, struct problem *problem);

/* NULL with the problem told when there is none of that name (or the name is NULL). */
struct seat *bench_seat(const struct bench *bench, const char *name, struct problem *problem);
struct source *bench_source(const struct bench *bench, const char *name, struct problem *problem);

#endif
