/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "outlook.h"

#include <math.h>
#include <string.h>

/* The values since a moment, as sums. */
static struct trend trend_since(const double *time, const double *value, size_t count, double since)
{
    struct trend trend = { 0 };
    for (size_t i = 0; i < count; i++)
        if (time[i] >= since)
            trend_add(&trend, time[i], value[i]);
    return trend;
}

static void find_meeting(const struct trend *trend, const struct limits *limits, double now,
                         struct outlook *outlook)
{
    outlook->at_high = outlook->line.slope > 0;
    outlook->level = outlook->at_high ? limits->high : limits->low;
    outlook->meets =
        isfinite(outlook->level) && trend_meets(trend, outlook->level, now, &outlook->crossing);
}

void outlook_find(const double *time, const double *value, size_t count, double quantum,
                  const struct limits *limits, double *scratch, struct outlook *outlook)
{
    memset(outlook, 0, sizeof *outlook);
    if (count == 0)
        return;
    double since = time[0];
    size_t kept = count;
    const double *times = time, *values = value;
    outlook->studied = history_study(time, value, count, quantum, scratch, &outlook->finding);
    if (outlook->studied) {
        times = scratch;
        values = scratch + count;
        kept = outlook->finding.kept;
        since = time[outlook->finding.step_at];
    }
    struct trend trend = trend_since(times, values, kept, since);
    outlook->fitted = trend_fit(&trend, &outlook->line);
    bool drifts = outlook->studied && outlook->finding.slope != 0;
    if (outlook->fitted && drifts && limits != NULL && limits->judged == JUDGED_VALUE)
        find_meeting(&trend, limits, time[count - 1], outlook);
}
