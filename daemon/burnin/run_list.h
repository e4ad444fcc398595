/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions to the store about burn-in runs; what answers them runs on the reading thread. */
#ifndef GRADUS_DAEMON_RUN_LIST_H
#define GRADUS_DAEMON_RUN_LIST_H

#include "daemon/bench/bench.h"
#include "daemon/store/store_query.h"

/* A question about one run. */
struct run_query {
    struct store_query query;
    char run[BENCH_NAME];   /* its name, or its plan's for the newest */
    char point[BENCH_NAME]; /* of a study */
    int64_t after;          /* events: ids above this */
    size_t limit;           /* events: 1 to QUERY_MOST */
    size_t buckets;         /* of a study, 1 to STUDY_BUCKETS */
};

/* Asks for all runs, newest last. NULL when memory is short. */
struct store_query *run_list_new(void);

/* Asks for a page of the events of a run, oldest first. NULL when memory is short. */
struct run_query *run_events_new(void);

/* Asks for the study of a point of a run. NULL when memory is short. */
struct run_query *run_study_new(void);

#endif
