/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lead_zero.h"

#include <stddef.h>

/* Leads of which nothing is stated have no more, ohm; common practice, no source. */
static const double most_unstated = 5;

struct probe lead_zero_probe(const struct probe *probe, const struct lead_zero *zero)
{
    struct probe zeroed = *probe;
    bool known = zero->state == LEADS_ZEROED;
    zeroed.offset = known ? -zero->resistance : 0;
    zeroed.offset_tolerance = 0;
    zeroed.offset_standard = known ? zero->standard : 0;
    return zeroed;
}

bool lead_zero_fits(const struct probe *probe, double resistance, double uncertainty,
                    struct failure *failure)
{
    static const char *const shorted = "leads that are shorted at their tips, and nothing else";
    bool stated = probe->dimension == DIMENSION_RESISTANCE;
    double least = stated ? -probe->offset - probe->offset_tolerance : 0;
    double most = stated ? -probe->offset + probe->offset_tolerance : most_unstated;
    double beyond = stated ? resistance - uncertainty : resistance;
    if (!(beyond <= most))
        return failure_set(failure, FAILURE_MISTAKE, NULL, shorted,
                           "%.4g ohm is more than probe %s can have, which is %.4g ohm", resistance,
                           probe->name, most);
    if (!(resistance + uncertainty >= 0))
        return failure_set(failure, FAILURE_MISTAKE, NULL, "no voltage at the leads",
                           "%.4g ohm is below zero by more than the meter's error of %.2g ohm",
                           resistance, uncertainty);
    return resistance + uncertainty >= least ||
           failure_set(failure, FAILURE_MISTAKE, NULL, shorted,
                       "%.4g ohm is less than probe %s must have, which is %.4g ohm", resistance,
                       probe->name, least);
}
