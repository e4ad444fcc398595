/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_parts.h"

const struct bench_point *burnin_run_point(const struct burnin_run *run, size_t slot, int64_t round)
{
    size_t phase = burnin_phase(&run->schedule, burnin_due(&run->schedule, round));
    return run->plan->phases[phase].points[slot];
}

struct plan_time burnin_run_now(const struct burnin_run *run)
{
    return burnin_time_now(&run->time, run->host.now(run->host.context));
}
