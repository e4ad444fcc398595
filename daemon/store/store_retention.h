/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether what looks past its time may be removed. A wall clock is believed
 * only in company: of a time server (or of settings that say it is right), of
 * the newest reading, from which ages count where that is earlier, and of the
 * clock that counts since the machine was started. What ages count from must
 * not go on faster than that one: where it does, as after the clock was set,
 * and at a start, no more than a share goes by itself. For more an
 * administrator is waited for, who allows a date.
 */
#ifndef GRADUS_DAEMON_STORE_RETENTION_H
#define GRADUS_DAEMON_STORE_RETENTION_H

#include "store_db.h"

/* What keeps it from being removed. */
enum store_wait {
    STORE_WAITS_NOT,
    STORE_WAITS_CLOCK,  /* until the clock is known to be right */
    STORE_WAITS_CONSENT /* until an administrator allows it */
};

/* What waits to be removed. */
struct store_removal {
    enum store_wait wait;
    struct wall_time before; /* readings taken before this are past their time */
    uint64_t rows;           /* so many, summaries included */
};

/* The clocks at one moment. */
struct retention_clocks {
    struct wall_time wall;
    bool synchronised;
    struct duration up; /* of the machine */
};

/* What is known from look to look. Start with {0}. */
struct retention {
    bool trusted;             /* the last look found nothing to doubt */
    struct wall_time newest;  /* what ages were counted from then */
    struct duration up;       /* how long the machine was up when that was another time */
    struct wall_time allowed; /* an administrator allowed what was before it to go; 0: none */
};

/* The clocks now. */
struct retention_clocks retention_clocks_now(void);

/*
 * Looks how much is past its time. `now` becomes what ages are to be counted
 * from in store_prune(), or WALL_TIME_FIRST while nothing may go; `removal`
 * what waits. To be called before each round of pruning, not each step.
 */
enum store_state store_retention_look(struct retention *retention, struct store_db *db,
                                      const struct bench_store *settings,
                                      const struct retention_clocks *clocks, struct wall_time *now,
                                      struct store_removal *removal, struct failure *failure);

#endif
