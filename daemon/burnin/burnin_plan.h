/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a burn-in does what: pure arithmetic, the clocks are given.
 *
 * Rounds are due at whole multiples of the interval in plan time. How far the
 * wall clock is from that is told when it changes. UTC knows no daylight saving.
 */
#ifndef GRADUS_DAEMON_BURNIN_PLAN_H
#define GRADUS_DAEMON_BURNIN_PLAN_H

#include "daemon/bench/bench.h"
#include "plan_time.h"

#include <stdint.h>

/* Both clocks at once. */
struct burnin_clock {
    struct wall_time wall;
    struct steady_time steady;
};

/* What ties plan time to the clocks. */
struct burnin_time {
    struct plan_time origin;   /* when the steady clock ... */
    struct steady_time steady; /* ... was there */
    struct duration offset;    /* of the wall clock from plan time, as told last */
};

/* Plan time begins with the wall clock. */
struct burnin_time burnin_time_begin(struct burnin_clock now);

/*
 * Plan time goes on after a restart. Within one boot the steady clock tells;
 * after another the wall clock does, which is taken to be as far from plan
 * time as it was told last, but never back behind `last`.
 *
 * before     as it was kept
 * same_boot  the steady clock has not begun anew since
 * last       latest plan time that is on record
 */
struct burnin_time burnin_time_resume(const struct burnin_time *before, bool same_boot,
                                      struct plan_time last, struct burnin_clock now);

/* Plan time now. */
struct plan_time burnin_time_now(const struct burnin_time *time, struct burnin_clock now);

/* How far the wall clock has jumped since that was told last; none: less than half a second. */
struct duration burnin_time_jump(struct burnin_time *time, struct burnin_clock now);

/* The rounds of a run. */
struct burnin_schedule {
    struct plan_time first;      /* when round 1 is due */
    struct duration every;       /* > 0 */
    struct plan_time warm_until; /* rounds due before this are warm-up */
    size_t phase_count;
    struct plan_time phase_ends[BURNIN_PHASES];
};

/* The schedule of a plan that begins at `begin`: round 1 at the next whole multiple of the interval. */
struct burnin_schedule burnin_schedule(const struct bench_burnin *plan, struct plan_time begin);

/* When the last phase ends: nothing is due then or after. */
struct plan_time burnin_end(const struct burnin_schedule *schedule);

/* How many rounds there are. */
int64_t burnin_rounds(const struct burnin_schedule *schedule);

/* When a round (from 1) is due. */
struct plan_time burnin_due(const struct burnin_schedule *schedule, int64_t round);

/* Hours from the first round to a round (from 1): the unit that courses are looked at in. */
double burnin_hours(const struct burnin_schedule *schedule, int64_t round);

/* Whether a round (from 1) is warm-up. */
bool burnin_warms(const struct burnin_schedule *schedule, int64_t round);

/* The phase (from 0) of a time of the run. */
size_t burnin_phase(const struct burnin_schedule *schedule, struct plan_time time);

/* What is to be done at a time. */
struct burnin_turn {
    int64_t round;  /* to begin now; 0: none */
    int64_t missed; /* rounds between the one before and this, or the end, that were not held */
    struct duration late;  /* since it was due */
    struct plan_time wake; /* when to ask again, if there is none; the end at the latest */
    bool ended;
};

/* Whether a round is to begin, when `last` was the last one that began or was told as missed. */
struct burnin_turn burnin_turn(const struct burnin_schedule *schedule, int64_t last,
                               struct plan_time now);

/* One measurement of a round, as the order of visits sees it. */
struct burnin_visit {
    size_t slot; /* index of the point in the plan */
    size_t instrument;
    int input;
    int function;  /* what is measured at the input */
    double level;  /* expected at the tip over the probe's factor; NAN: nothing is */
    double factor; /* of the probe, so that equal ones are neighbours */
};

/*
 * Sorts visits so that each instrument changes inputs, functions and ranges
 * least: all of one input together, in it all of one function, in it by
 * level. With `back` the other way round: a round that begins where the one
 * before ended saves one change more.
 */
void burnin_order(struct burnin_visit *visits, size_t count, bool back);

#endif
