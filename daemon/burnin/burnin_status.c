/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A run as JSON. */
#include "burnin_priv.h"

#include "encode_outlook.h"

#include <math.h>

static const char *state_of(const struct burnin_slot *slot)
{
    if (slot->state.trip != BURNIN_WELL)
        return "tripped";
    if (slot->stopped)
        return "stopped";
    if (slot->state.cause != BURNIN_WELL)
        return slot->state.cause == BURNIN_LOST ? "not measured" : "failing";
    return slot->state.readings == 0 ? "waiting" : "within limits";
}

/*
 * Where the point is going, under the limits of the latest round. To find that costs most of a
 * status, and nothing changes before there is another reading.
 */
static void encode_course(struct text *text, const struct burnin_run *run, size_t index)
{
    struct burnin_slot *slot = &run->slots[index];
    const struct track *course = &slot->course;
    const struct limits *limits = &burnin_run_point(run, index, run->last)->limits;
    double scratch[2 * BURNIN_COURSE];
    if (course->count == 0)
        return;
    if (slot->outlook_of != slot->state.readings || slot->outlook_limits.low != limits->low ||
        slot->outlook_limits.high != limits->high ||
        slot->outlook_limits.judged != limits->judged) {
        outlook_find(course->times, course->values, course->count, course->quantum, limits, scratch,
                     &slot->outlook);
        slot->outlook_of = slot->state.readings;
        slot->outlook_limits = *limits;
    }
    encode_trend(text, &slot->outlook, run->schedule.first);
}

static void encode_slot(struct text *text, const struct burnin_run *run, size_t index)
{
    const struct burnin_slot *slot = &run->slots[index];
    const struct burnin_state *state = &slot->state;
    const struct bench_point *point = run->plan->phases[0].points[index];
    text_open(text, '{');
    text_member_string(text, "point", point->name);
    if (point->unit_number != 0)
        text_member_integer(text, "unit_number", point->unit_number);
    text_member_string(text, "state", state_of(slot));
    text_member_integer(text, "readings", state->readings);
    text_member_integer(text, "failures", state->failures);
    text_member_integer(text, "lost", state->lost);
    text_member_number(text, "last", state->last);
    text_member_number(text, "first", state->first);
    text_member_string(text, "value_unit", point->unit);
    text_member_number(text, "margin", state->margin);
    text_member_number(text, "worst_margin", state->worst);
    if (state->drift != VERDICT_NONE)
        text_member_string(text, "drift_verdict", verdict_name(state->drift));
    if (!isnan(state->worst))
        text_member_integer(text, "worst_round", state->worst_round);
    if (state->trip != BURNIN_WELL) {
        text_member_string(text, "cause", burnin_cause_name(state->trip));
        text_member_integer(text, "trip_round", state->trip_round);
        encode_plan_time(text, "trip_time", burnin_due(&run->schedule, state->trip_round));
    }
    encode_course(text, run, index);
    text_close(text, '}');
}

/* What only a run that goes on has. */
static void encode_ahead(struct text *text, const struct burnin_run *run, struct plan_time now)
{
    const struct burnin_schedule *schedule = &run->schedule;
    struct duration left = plan_time_since(burnin_end(schedule), now);
    text_member_string(text, "phase", run->plan->phases[burnin_phase(schedule, now)].name);
    text_member_bool(text, "warm_up", plan_time_before(now, schedule->warm_until));
    text_member_number(text, "left_s", fmax(duration_seconds(left), 0));
    if (run->last < burnin_rounds(schedule)) {
        struct plan_time next = burnin_due(schedule, run->last + 1);
        encode_plan_time(text, "next", next);
        text_member_number(text, "next_s", fmax(duration_seconds(plan_time_since(next, now)), 0));
    }
}

void burnin_encode_run(struct text *text, const struct burnin_run *run)
{
    struct plan_time now = burnin_time_now(&run->time, run->host.now(run->host.context));
    text_open(text, '{');
    text_member_string(text, "run", run->name);
    text_member_string(text, "plan", run->plan->name);
    text_member_string(text, "state", run->ended ? "ended" : "running");
    text_member_string(text, "why", run->why);
    encode_plan_time(text, "first_round", run->schedule.first);
    encode_plan_time(text, "end", burnin_end(&run->schedule));
    text_member_number(text, "every_s", run->plan->every_s);
    text_member_integer(text, "round", run->last);
    text_member_integer(text, "rounds", burnin_rounds(&run->schedule));
    text_member_integer(text, "measuring", (int64_t)run->open);
    text_member_integer(text, "late", run->late);
    text_member_integer(text, "missed", run->missed);
    text_member_integer(text, "clock_jumps", run->jumps);
    text_member_integer(text, "gaps", run->gaps);
    if (!run->ended)
        encode_ahead(text, run, now);
    text_key(text, "points");
    text_open(text, '[');
    for (size_t i = 0; i < run->plan->point_count; i++)
        encode_slot(text, run, i);
    text_close(text, ']');
    text_close(text, '}');
}
