/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the store knows of a run by itself, without the settings it ran
 * under: its schedule, its phases, and how far its points might move. It
 * stands in the event "run began".
 */
#ifndef GRADUS_DAEMON_RUN_RECORD_H
#define GRADUS_DAEMON_RUN_RECORD_H

#include "burnin_plan.h"
#include "daemon/basics/json_text.h"
#include "daemon/store/store_look.h"

#include <jansson.h>

/* One run. End it with run_record_end(). */
struct run_record {
    char run[BENCH_NAME];
    char plan[BENCH_NAME];
    struct burnin_schedule schedule;
    struct burnin_rules rules;
    json_t *body; /* the event's; owned */
};

/*
 * Reads the run of that name, or the newest of the plan of that name. False
 * with the failure set when there is none or it cannot be read; nothing is
 * owned then.
 */
bool run_record_read(const struct store_look *look, const char *name, struct run_record *record,
                     struct failure *failure);

/* Accepts one that was not read, all zero. */
void run_record_end(struct run_record *record);

/* The name of a phase (from 0); valid until run_record_end(). */
const char *run_record_phase(const struct run_record *record, size_t phase);

/*
 * What is on record of a point: the number of its unit under test (0: it has
 * none) and how far it may move. False when the run has no such point.
 */
bool run_record_point(const struct run_record *record, const char *point, int *unit_number,
                      struct bench_drift *drift);

/* Members of the event "run began" that run_record_read() needs: rules, phases and points of a plan of the bench. */
void run_record_encode(struct text *text, const struct bench *bench,
                       const struct bench_burnin *plan, const struct burnin_schedule *schedule);

#endif
