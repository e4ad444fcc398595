/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One reading on its way into the store: made on the loop thread, immutable
 * from then on, written by the store's thread, and handed back once it is
 * durable. It holds the very text that is published and answered.
 */
#ifndef GRADUS_DAEMON_STORE_RECORD_H
#define GRADUS_DAEMON_STORE_RECORD_H

#include "core/basics/moment.h"
#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"
#include "daemon/encode/encode.h"
#include "store_row.h"

#include <stdbool.h>
#include <stdint.h>

enum { RECORD_IDENTITY = DIALOGUE_IDENTITY, RECORD_SERIAL = 404 };

struct record;

/* The record is durable: it has its id. On the loop thread; not the callee's to free. */
typedef void record_done(struct record *record);

struct record {
    /* What is stored; fixed once it is handed over. */
    const char *kind;    /* "reading", or the kind of an event */
    struct bench *bench; /* a reference; NULL for an event */
    char point[BENCH_NAME];
    char run[BENCH_NAME]; /* empty: of no run */
    int64_t round;
    char job[BENCH_NAME];       /* name of the customer's job; empty: of none */
    char serial[RECORD_SERIAL]; /* of its unit; empty: not said */
    char time[ENCODE_TIME_SIZE];
    struct wall_time at;
    int64_t sequence;
    double value; /* NAN: there is none */
    double uncertainty;
    char unit[PROBE_UNIT];
    const char *verdict; /* static; NULL: none */
    const char *reason;  /* static; why there is no value; NULL: there is one */
    char instrument[BENCH_NAME];
    char identity[RECORD_IDENTITY];
    char calibration_due[BENCH_DATE];
    struct text body; /* the JSON text */

    /* Written by the store's thread while it has the record. */
    int64_t id; /* given when it is first written; certain once it is handed back */
    uint8_t digest[CHAIN_SIZE];

    /* The loop thread's alone, at all times. */
    record_done *done; /* NULL: nobody waits */
    void *owner;       /* whatever `done` needs */

    struct record *next; /* in whichever list it is */
};

/*
 * A record of the outcome of a measurement: with a value, the reading object;
 * without, the error object. `bench` is that of the occasion
 * and gains a reference. NULL when memory is short.
 */
struct record *record_reading(struct bench *bench, const struct occasion *occasion,
                              const struct reading *reading);

/*
 * A record that a run begins ("run began") or has ended ("run ended"), with
 * the details in `body` (JSON; copied; may be NULL). NULL when memory is short.
 */
struct record *record_event(const char *kind, const char *run, struct wall_time time,
                            const char *body);

/* Puts a reading into a round (from 1) of a run, before it is handed over. */
void record_set_run(struct record *record, const char *run, int64_t round);

/* Accepts NULL. */
void record_free(struct record *record);

#endif
