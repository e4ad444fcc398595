/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "encode_outlook.h"

#include "daemon/encode/encode.h"

#include <math.h>

/* Later ones have no place in nanoseconds, and mean nothing. */
static void member_hours(struct text *text, const char *key, double hours, struct plan_time origin)
{
    struct plan_time time = plan_time_plus(origin, duration_of_seconds(hours * 3600));
    if (!isnan(hours) && plan_time_before(time, PLAN_TIME_LAST))
        encode_plan_time(text, key, time);
}

static void encode_meeting(struct text *text, const struct outlook *outlook,
                           struct plan_time origin)
{
    text_member_open(text, "meets", '{');
    text_member_string(text, "limit", outlook->at_high ? "high" : "low");
    text_member_number(text, "level", outlook->level);
    member_hours(text, "earliest", outlook->crossing.earliest, origin);
    member_hours(text, "expected", outlook->crossing.expected, origin);
    member_hours(text, "latest", outlook->crossing.latest, origin);
    text_close(text, '}');
}

static void encode_settling(struct text *text, const struct outlook *outlook)
{
    const struct forecast_level *settled = &outlook->settled;
    text_member_open(text, "settles", '{');
    text_member_number(text, "value", settled->expected);
    text_member_number(text, "uncertainty",
                       fmax(settled->high - settled->expected, settled->expected - settled->low));
    text_member_bool(text, "stays", outlook->stays);
    text_close(text, '}');
}

void encode_trend(struct text *text, const struct outlook *outlook, struct plan_time origin)
{
    if (!outlook->fitted)
        return;
    text_member_open(text, "trend", '{');
    text_member_number(text, "per_hour", outlook->line.slope);
    text_member_number(text, "standard_uncertainty", outlook->line.slope_standard);
    text_member_bool(text, "significant", outlook->moves);
    if (outlook->settles)
        encode_settling(text, outlook);
    if (outlook->meets)
        encode_meeting(text, outlook, origin);
    text_close(text, '}');
}
