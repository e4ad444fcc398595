/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "deadline.h"

#include <math.h>
#include <time.h>

static const double longest_ms = 1e12;
static const int64_t nanoseconds_per_ms = 1000000;
static const int64_t longest_poll_ms = 3600000;

int64_t monotonic_now(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 * nanoseconds_per_ms + (int64_t)now.tv_nsec;
}

struct deadline deadline_in(double milliseconds)
{
    /* Written so that NaN counts as now. */
    double wait = milliseconds > 0 ? fmin(milliseconds, longest_ms) : 0;

    return (struct deadline) { monotonic_now() + (int64_t)(wait * 1e6) };
}

struct deadline deadline_sooner(struct deadline a, struct deadline b)
{
    return a.nanoseconds < b.nanoseconds ? a : b;
}

bool deadline_passed(struct deadline deadline)
{
    return monotonic_now() >= deadline.nanoseconds;
}

int deadline_poll_ms(struct deadline deadline)
{
    int64_t left = deadline.nanoseconds - monotonic_now();

    if (left <= 0)
        return 0;
    if (left >= longest_poll_ms * nanoseconds_per_ms)
        return (int)longest_poll_ms;
    return (int)((left + nanoseconds_per_ms - 1) / nanoseconds_per_ms);
}

double deadline_left_ms(struct deadline deadline)
{
    return (double)(deadline.nanoseconds - monotonic_now()) / 1e6;
}
