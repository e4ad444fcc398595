/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Seconds since the bench started, on the monotonic clock. */
#ifndef STANDIN_CLOCK_H
#define STANDIN_CLOCK_H

#include <time.h>

struct bench_clock {
    struct timespec start;
};

/* Takes the present moment as zero. */
void clock_begin(struct bench_clock *clock);

/* Seconds since clock_begin(). */
double clock_now(const struct bench_clock *clock);

#endif
