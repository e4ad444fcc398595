/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A run has a time of its own, plan time: nanoseconds since 1970 as the wall
 * clock showed at its start, carried on by the steady clock, which counts
 * suspended time and is not moved by anybody. So a wall clock that is set, or
 * suspend, neither moves the plan nor reorders what it did.
 */
#ifndef GRADUS_DAEMON_PLAN_TIME_H
#define GRADUS_DAEMON_PLAN_TIME_H

#include "core/basics/moment.h"
#include "daemon/basics/json_text.h"

struct plan_time {
    int64_t ns;
};

/* On CLOCK_BOOTTIME, which goes on while the machine is suspended: no struct moment. */
struct steady_time {
    int64_t ns;
};

/* After all others. */
#define PLAN_TIME_LAST ((struct plan_time) { INT64_MAX })

/* So long after. */
static inline struct plan_time plan_time_plus(struct plan_time time, struct duration duration)
{
    return (struct plan_time) { ns_sum(time.ns, duration.ns) };
}

/* How long `later` is after `earlier`; negative: it is before. */
static inline struct duration plan_time_since(struct plan_time later, struct plan_time earlier)
{
    return (struct duration) { ns_difference(later.ns, earlier.ns) };
}

/* Whether `a` comes before `b`, and is not the same. */
static inline bool plan_time_before(struct plan_time a, struct plan_time b)
{
    return a.ns < b.ns;
}

/* What the wall clock shows at a plan time, so long as nobody has set it since the run's start. */
static inline struct wall_time plan_time_shown(struct plan_time time)
{
    return (struct wall_time) { time.ns };
}

/* How long `later` is after `earlier` in one boot; negative: it is before, or of another boot. */
static inline struct duration steady_time_since(struct steady_time later,
                                                struct steady_time earlier)
{
    return (struct duration) { ns_difference(later.ns, earlier.ns) };
}

/* Key and plan time, as the wall clock would show it. */
void encode_plan_time(struct text *text, const char *key, struct plan_time time);

#endif
