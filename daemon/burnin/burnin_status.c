/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The runs as JSON, from the rows of burnin_look. */
#include "burnin_look.h"
#include "encode_outlook.h"

#include <math.h>

static void encode_slot(struct text *text, const struct slot_look *look)
{
    const struct burnin_state *state = look->figures;
    const struct bench_point *point = look->point;
    text_open(text, '{');
    text_member_string(text, "point", point->name);
    if (point->unit_number != 0)
        text_member_integer(text, "unit_number", point->unit_number);
    text_member_string(text, "state", look->state);
    if (state->dead)
        text_member_bool(text, "dead", true);
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
        encode_plan_time(text, "trip_time", look->tripped);
    }
    if (look->outlook != NULL)
        encode_trend(text, look->outlook, look->origin);
    text_close(text, '}');
}

/* What only a run that goes on has. */
static void encode_ahead(struct text *text, const struct run_look *look)
{
    text_member_string(text, "phase", look->phase);
    text_member_bool(text, "warm_up", look->warm_up);
    text_member_number(text, "left_s", duration_seconds(look->left));
    if (look->next == 0)
        return;
    encode_plan_time(text, "next", look->next_due);
    text_member_number(text, "next_s", duration_seconds(look->next_in));
}

/* A run up to its points. */
static void open_run(struct text *text, const struct run_look *look)
{
    const struct burnin_run *run = look->run;
    text_open(text, '{');
    text_member_string(text, "run", run->name);
    text_member_string(text, "plan", run->plan->name);
    bool held = run->phases.doing == PHASE_HELD;
    text_member_string(text, "state", run->ended ? "ended" : held ? "held" : "running");
    text_member_string(text, "why", run->why);
    encode_plan_time(text, "first_round", run->schedule.first);
    encode_plan_time(text, "end", look->end);
    text_member_number(text, "every_s", run->plan->every_s);
    text_member_integer(text, "round", run->last);
    text_member_integer(text, "rounds", look->rounds);
    text_member_integer(text, "measuring", (int64_t)run->open);
    text_member_integer(text, "late", run->late);
    text_member_integer(text, "missed", run->missed);
    text_member_integer(text, "clock_jumps", run->jumps);
    text_member_integer(text, "gaps", run->gaps);
    if (!run->ended)
        encode_ahead(text, look);
    burnin_phases_member(text, run);
    text_member_open(text, "points", '[');
}

void burnin_status_open(struct text *text, const struct bench *bench)
{
    text_open(text, '{');
    text_member_open(text, "plans", '[');
    for (size_t i = 0; i < bench->burnin_count; i++)
        text_string(text, bench->burnins[i].name);
    text_close(text, ']');
    text_member_open(text, "runs", '[');
}

void burnin_status_row(struct text *text, const struct burnin_row *row)
{
    switch (row->kind) {
    case BURNIN_ROW_RUN:
        open_run(text, &row->run);
        break;
    case BURNIN_ROW_POINT:
        encode_slot(text, &row->slot);
        break;
    case BURNIN_ROW_END:
        text_close(text, ']');
        text_close(text, '}');
        break;
    }
}

void burnin_status_close(struct text *text)
{
    text_close(text, ']');
    text_close(text, '}');
}
