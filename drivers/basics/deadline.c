/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "deadline.h"

#include <math.h>
#include <time.h>

static const double longest_ms = 1e12;
static const int64_t longest_poll_ms = 3600000;

struct moment monotonic_now(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (struct moment) { (int64_t)now.tv_sec * SECOND_NS + (int64_t)now.tv_nsec };
}

struct deadline deadline_in(double milliseconds)
{
    /* Written so that NaN counts as now. */
    double wait = milliseconds > 0 ? fmin(milliseconds, longest_ms) : 0;

    return (struct deadline) { moment_plus(monotonic_now(), duration_of_ms(wait)) };
}

struct deadline deadline_sooner(struct deadline a, struct deadline b)
{
    return moment_before(a.at, b.at) ? a : b;
}

bool deadline_passed(struct deadline deadline)
{
    return !moment_before(monotonic_now(), deadline.at);
}

int deadline_poll_ms(struct deadline deadline)
{
    int64_t left = moment_since(deadline.at, monotonic_now()).ns;

    if (left <= 0)
        return 0;
    if (left >= longest_poll_ms * MILLISECOND_NS)
        return (int)longest_poll_ms;
    return (int)((left + MILLISECOND_NS - 1) / MILLISECOND_NS);
}

double deadline_left_ms(struct deadline deadline)
{
    return duration_ms(moment_since(deadline.at, monotonic_now()));
}
