/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The customer's job that a run is for, and the serial numbers of the units in it. */
#ifndef GRADUS_DAEMON_BURNIN_JOB_H
#define GRADUS_DAEMON_BURNIN_JOB_H

#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"

#include <jansson.h>

/*
 * Reads the JSON text of a job whose "serials", if it has them, are a list: one for each unit of
 * the plan, in the order of their numbers. In the result they are an object by unit number. NULL
 * with what is wrong: too few, too many, or one of them twice.
 */
json_t *burnin_job_read(const char *order, const struct bench_burnin *plan,
                        struct failure *failure);

/* The JSON text of the job for a reading of a unit (0: of none), for free(); NULL: there is none. */
char *burnin_job_of(json_t *job, int unit_number);

/* The member "job" of the event that begins a run; nothing where it is for none. */
void burnin_job_member(struct text *text, const json_t *job);

#endif
