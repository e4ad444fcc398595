/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "leads.h"

#include <math.h>
#include <time.h>

/* Wider than what a zero was accepted with, so that only other settings make it one of other leads. */
static const double coverage = 3;

bool leads_count(const struct bench_point *point)
{
    return point->quantity == QUANTITY_RESISTANCE && point->at_input == QUANTITY_RESISTANCE;
}

double leads_take(const struct bench *bench, const struct bench_point *point,
                  const struct lead_zero *zero, struct chain *chain, struct probe *probe)
{
    struct timespec now;
    bool shorted = zero->state == LEADS_SHORTED;
    if (!leads_count(point) || zero->state == LEADS_STATED ||
        (!shorted &&
         !lead_zero_fits(chain->probe, zero->resistance, coverage * zero->standard, NULL)))
        return NAN;
    clock_gettime(CLOCK_REALTIME, &now);
    int64_t since = (int64_t)now.tv_sec * INT64_C(1000000000) + now.tv_nsec - zero->when;
    double age = (double)since / 1e9;
    if (shorted || (age >= 0 && age <= bench->lead_zero_s)) {
        *probe = lead_zero_probe(chain->probe, zero);
        chain->probe = probe;
    }
    return shorted ? NAN : age;
}
