/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_tell.h"

#include "daemon/encode/encode.h"
#include "encode_outlook.h"

struct text *burnin_tell_open(struct burnin_run *run)
{
    struct text *text = &run->scratch;
    text_reset(text);
    text_open(text, '{');
    text_member_string(text, "run", run->name);
    text_member_string(text, "plan", run->plan->name);
    return text;
}

void burnin_tell_warnings(struct text *text)
{
    text_member_open(text, "warnings", '[');
    text_close(text, ']');
}

void burnin_tell(struct burnin_run *run, enum event_kind kind)
{
    text_close(&run->scratch, '}');
    run->host.record(run->host.context, kind, &run->scratch);
}

void burnin_tell_trip(struct burnin_run *run, size_t slot)
{
    const struct burnin_state *state = &run->slots[slot].state;
    const struct bench_point *point = burnin_run_point(run, slot, state->trip_round);
    struct plan_time due = burnin_due(&run->schedule, state->trip_round);
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "point", point->name);
    if (point->unit_number != 0)
        text_member_integer(text, "unit_number", point->unit_number);
    text_member_integer(text, "round", state->trip_round);
    encode_plan_time(text, "due", due);
    text_member_string(text, "phase", run->plan->phases[burnin_phase(&run->schedule, due)].name);
    text_member_string(text, "cause", burnin_cause_name(state->trip));
    text_member_integer(text, "failed_in_row", state->failed_in_row);
    text_member_number(text, "value", state->last);
    text_member_string(text, "value_unit", point->unit);
    text_member_number(text, "first", state->first);
    text_member_number(text, "margin", state->margin);
    encode_limits(text, &point->limits);
    burnin_tell(run, EVENT_TRIP);
    run->host.tripped(run->host.context, slot, text);
}

void burnin_tell_not_measured(struct burnin_run *run, size_t slot,
                              const struct burnin_outcome *outcome)
{
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "point", run->plan->phases[0].points[slot]->name);
    text_member_integer(text, "round", outcome->round);
    text_member_string(text, "reason", failure_reason(outcome->failure));
    burnin_tell(run, EVENT_NOT_MEASURED);
}

void burnin_tell_missed(struct burnin_run *run, int64_t first, int64_t count)
{
    if (count == 0)
        return;
    run->missed += count;
    struct text *text = burnin_tell_open(run);
    text_member_integer(text, "first", first);
    text_member_integer(text, "last", first + count - 1);
    burnin_tell(run, EVENT_ROUNDS_MISSED);
}
