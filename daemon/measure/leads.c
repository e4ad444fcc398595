/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "leads.h"

#include "daemon/basics/wall_clock.h"

#include <math.h>

/* Wider than what a zero was accepted with, so that only other settings make it one of other leads. */
static const double coverage = 3;

bool leads_count(const struct bench_point *point)
{
    return point->quantity == QUANTITY_RESISTANCE && point->at_input == QUANTITY_RESISTANCE;
}

double leads_take(const struct bench *bench, const struct bench_point *point,
                  const struct lead_zero *zero, struct chain *chain, struct probe *probe)
{
    bool shorted = zero->state == LEADS_SHORTED;
    if (!leads_count(point) || zero->state == LEADS_STATED ||
        (!shorted &&
         !lead_zero_fits(chain->probe, zero->resistance, coverage * zero->standard, NULL)))
        return NAN;
    double age = duration_seconds(wall_time_since(wall_time_now(), zero->when));
    if (shorted || (age >= 0 && age <= bench->lead_zero_s)) {
        *probe = lead_zero_probe(chain->probe, zero);
        chain->probe = probe;
    }
    return shorted ? NAN : age;
}
