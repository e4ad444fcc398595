/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The question for a page of readings. */
#ifndef GRADUS_DAEMON_STORE_PAGE_H
#define GRADUS_DAEMON_STORE_PAGE_H

#include "core/basics/moment.h"
#include "store_query.h"

struct store_page {
    struct store_query query;
    char point[64];  /* empty: of all points */
    char run[64];    /* empty: of any run or none */
    char job[64];    /* empty: of any job or none */
    char serial[64]; /* empty: of any unit */
    bool strange; /* the settings have no such point: where the store has neither, it is refused */
    char guess[160]; /* what may have been meant by it then */
    struct wall_time since;
    struct wall_time until;
    int64_t after;  /* ids above this, the oldest of them; -1: the newest of all */
    int64_t before; /* ids below this */
    size_t limit;   /* 1 to QUERY_MOST */
};

/* The newest QUERY_MOST readings of everything. NULL when memory is short. */
struct store_page *store_page_new(void);

#endif
