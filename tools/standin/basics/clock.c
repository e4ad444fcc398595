/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "clock.h"

void clock_begin(struct bench_clock *clock)
{
    clock_gettime(CLOCK_MONOTONIC, &clock->start);
}

double clock_now(const struct bench_clock *clock)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - clock->start.tv_sec) +
           (double)(now.tv_nsec - clock->start.tv_nsec) / 1e9;
}
