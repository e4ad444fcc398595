/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_run.h"

#include "burnin_job.h"
#include "burnin_tell.h"
#include "encode_outlook.h"
#include "run_record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The clock is looked at so often, even when nothing is due. */
static const struct duration look_pause = { SECOND_NS };

/* A round that begins later than this, or this share of the interval, is told as late. */
static const struct duration late_least = { 100 * MILLISECOND_NS };
enum { LATE_SHARE = 10 };

static const char *name_of(const struct burnin_run *run, size_t slot)
{
    return run->plan->phases[0].points[slot]->name;
}

static int compare_names(const void *left, const void *right, void *context)
{
    const struct burnin_run *run = context;
    return strcmp(name_of(run, *(const size_t *)left), name_of(run, *(const size_t *)right));
}

static void sort_names(struct burnin_run *run)
{
    for (size_t i = 0; i < run->plan->point_count; i++)
        run->by_name[i] = i;
    qsort_r(run->by_name, run->plan->point_count, sizeof *run->by_name, compare_names, run);
}

struct burnin_run *burnin_run_new(struct bench *bench, const struct bench_burnin *plan,
                                  const char *name, const struct burnin_host *host)
{
    struct burnin_run *run = calloc(1, sizeof *run);
    if (run == NULL)
        return NULL;
    run->bench = bench_ref(bench);
    run->plan = plan;
    run->host = *host;
    run->phases = burnin_phases_new();
    snprintf(run->name, sizeof run->name, "%s", name);
    run->slots = calloc(plan->point_count, sizeof *run->slots);
    run->by_name = calloc(plan->point_count, sizeof *run->by_name);
    run->visits = calloc(plan->point_count, sizeof *run->visits);
    run->lanes = calloc(plan->point_count, sizeof *run->lanes);
    if (run->slots == NULL || run->by_name == NULL || run->visits == NULL || run->lanes == NULL) {
        burnin_run_free(run);
        return NULL;
    }
    for (size_t i = 0; i < plan->point_count; i++) {
        run->slots[i].state = burnin_state_new();
        run->slots[i].course = track_begin(BURNIN_COURSE);
    }
    sort_names(run);
    return run;
}

void burnin_run_free(struct burnin_run *run)
{
    if (run == NULL)
        return;
    text_free(&run->scratch);
    for (size_t i = 0; run->slots != NULL && i < run->plan->point_count; i++)
        track_end(&run->slots[i].course);
    free(run->slots);
    free(run->by_name);
    free(run->visits);
    free(run->lanes);
    json_decref(run->job);
    bench_unref(run->bench);
    free(run);
}

size_t burnin_run_slot(const struct burnin_run *run, const char *point)
{
    size_t low = 0;
    size_t high = run->plan->point_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = strcmp(name_of(run, run->by_name[middle]), point);
        if (order == 0)
            return run->by_name[middle];
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return run->plan->point_count;
}

/* What a restart needs to carry plan time on. */
static void member_origin(struct text *text, const struct burnin_run *run, const char *boot)
{
    text_member_integer(text, "origin_wall_ns", run->time.origin.ns);
    text_member_integer(text, "origin_steady_ns", run->time.steady.ns);
    text_member_integer(text, "offset_ns", run->time.offset.ns);
    text_member_integer(text, "first_ns", run->schedule.first.ns);
    text_member_integer(text, "every_ns", run->schedule.every.ns);
    text_member_integer(text, "warm_until_ns", run->schedule.warm_until.ns);
    text_member_integer(text, "end_ns", burnin_end(&run->schedule).ns);
    text_member_string(text, "boot", boot);
}

void burnin_run_begin(struct burnin_run *run, const char *boot, const char *by)
{
    run->time = burnin_time_begin(run->host.now(run->host.context));
    run->schedule = burnin_schedule(run->plan, run->time.origin);
    run->seen = run->time.origin;
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "by", by);
    burnin_job_member(text, run->job);
    member_origin(text, run, boot);
    encode_plan_time(text, "first_round", run->schedule.first);
    encode_plan_time(text, "end", burnin_end(&run->schedule));
    text_member_integer(text, "rounds", burnin_rounds(&run->schedule));
    run_record_encode(text, run->bench, run->plan, &run->schedule);
    burnin_tell_warnings(text);
    burnin_tell(run, EVENT_RUN_BEGAN);
    run->host.wake(run->host.context, (struct duration) { 0 });
}

void burnin_run_recall_time(struct burnin_run *run, const struct burnin_time *time,
                            struct plan_time first)
{
    run->time = *time;
    run->schedule = burnin_schedule(run->plan, first);
    run->seen = first;
}

/* Whether the trip of one point stops another. */
static bool stops_too(const struct burnin_run *run, size_t tripped, size_t other)
{
    const struct bench_point *a = run->plan->phases[0].points[tripped];
    const struct bench_point *b = run->plan->phases[0].points[other];
    bool standard = run->plan->drifts[tripped].chart > 0;
    switch (standard ? run->plan->check_standard_stops : run->plan->stops) {
    case BURNIN_STOPS_NOTHING:
        return false;
    case BURNIN_STOPS_POINT:
        return tripped == other;
    case BURNIN_STOPS_UNIT:
        return tripped == other || (a->unit_number != 0 && a->unit_number == b->unit_number);
    case BURNIN_STOPS_RUN:
        return true;
    }
    return true;
}

static struct burnin_demands demands_of(const struct burnin_run *run, size_t slot, int64_t round)
{
    return (struct burnin_demands) { .limits = &burnin_run_point(run, slot, round)->limits,
                                     .drift = run->plan->drifts[slot],
                                     .rules = run->plan->rules };
}

/* A course that memory is short for ends early: it is shown, and nothing is decided by it. */
static void note_course(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome)
{
    if (outcome->failure == FAILURE_NONE && !outcome->warm_up)
        track_add(&run->slots[slot].course, burnin_hours(&run->schedule, outcome->round),
                  outcome->value);
}

/* Judges; true when the point trips, and what that stops is stopped. */
static bool judge(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome)
{
    struct burnin_outcome warm = *outcome;
    const struct burnin_demands demands = demands_of(run, slot, outcome->round);
    warm.warm_up = burnin_warms(&run->schedule, outcome->round);
    note_course(run, slot, &warm);
    if (!burnin_judge(&run->slots[slot].state, &demands, &warm))
        return false;
    for (size_t i = 0; i < run->plan->point_count; i++)
        run->slots[i].stopped = run->slots[i].stopped || stops_too(run, slot, i);
    return true;
}

/* After a trip, or at the end of a round: whether there is anything left to measure. */
static void end_if_done(struct burnin_run *run)
{
    bool left = false;
    for (size_t i = 0; i < run->plan->point_count; i++)
        left = left || !run->slots[i].stopped;
    if (!left)
        burnin_run_end(run, "tripped", NULL);
}

void burnin_run_recall(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome,
                       bool announced)
{
    struct plan_time due = burnin_due(&run->schedule, outcome->round);
    if (outcome->round > run->last)
        run->last = outcome->round;
    if (plan_time_before(run->seen, due))
        run->seen = due;
    if (judge(run, slot, outcome) && !announced)
        burnin_tell_trip(run, slot);
}

void burnin_run_recall_missed(struct burnin_run *run, int64_t last)
{
    if (last <= run->last)
        return;
    run->missed += last - run->last;
    run->last = last;
    run->seen = burnin_due(&run->schedule, last);
}

void burnin_run_recall_end(struct burnin_run *run, const char *why, const char *phase)
{
    run->ended = true;
    snprintf(run->why, sizeof run->why, "%s", why);
    run->time = burnin_time_resume(&run->time, false, run->seen, run->host.now(run->host.context));
    burnin_phases_recall_end(run, phase);
    run->host.wake(run->host.context, (struct duration) { 0 });
}

void burnin_run_resume(struct burnin_run *run, bool same_boot, const char *boot)
{
    struct burnin_clock clock = run->host.now(run->host.context);
    run->time = burnin_time_resume(&run->time, same_boot, run->seen, clock);
    run->gaps++;
    burnin_phases_resume(run);
    struct text *text = burnin_tell_open(run);
    member_origin(text, run, boot);
    encode_plan_time(text, "from", run->seen);
    encode_plan_time(text, "to", burnin_time_now(&run->time, clock));
    text_member_integer(text, "last_round", run->last);
    text_member_bool(text, "same_boot", same_boot);
    burnin_tell(run, EVENT_GAP);
    end_if_done(run);
    if (!run->ended)
        run->host.wake(run->host.context, (struct duration) { 0 });
}

static void take(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome,
                 bool stored)
{
    if (!stored)
        burnin_tell_not_measured(run, slot, outcome);
    if (judge(run, slot, outcome)) {
        burnin_tell_trip(run, slot);
        end_if_done(run);
    }
}

/* Begins the next measurement of a lane, if there is one. */
static void lane_next(struct burnin_run *run, struct burnin_lane *lane)
{
    while (lane->next < lane->end && !run->ended && !run->paused) {
        size_t slot = run->visits[lane->next++].slot;
        struct failure failure = { 0 };
        if (run->slots[slot].stopped)
            continue;
        if (run->host.measure(run->host.context, burnin_run_point(run, slot, run->last), slot,
                              run->last, &failure)) {
            run->open++;
            return;
        }
        const struct burnin_outcome outcome = { .round = run->last, .failure = failure.code };
        take(run, slot, &outcome, false);
    }
}

static struct burnin_visit visit_of(const struct burnin_run *run, size_t slot, int64_t round)
{
    const struct bench_point *point = burnin_run_point(run, slot, round);
    const struct probe *probe = &run->bench->probes[point->probe];
    return (struct burnin_visit) { .slot = slot,
                                   .instrument = point->instrument,
                                   .input = point->input,
                                   .function = (int)point->at_input,
                                   .level = fabs(point->expected / probe->factor),
                                   .factor = probe->factor };
}

/* Lays the visits of a round out, one lane an instrument. */
static void lay_out(struct burnin_run *run, int64_t round)
{
    size_t count = 0;
    for (size_t i = 0; i < run->plan->point_count; i++)
        if (!run->slots[i].stopped)
            run->visits[count++] = visit_of(run, i, round);
    burnin_order(run->visits, count, round % 2 == 0);
    run->lane_count = 0;
    for (size_t i = 0; i < count; i++) {
        if (i == 0 || run->visits[i].instrument != run->visits[i - 1].instrument)
            run->lanes[run->lane_count++] = (struct burnin_lane) { i, i };
        run->lanes[run->lane_count - 1].end = i + 1;
    }
}

static void begin_round(struct burnin_run *run, const struct burnin_turn *turn)
{
    const struct duration share = { run->schedule.every.ns / LATE_SHARE };
    if (duration_shorter(share, turn->late) && duration_shorter(late_least, turn->late)) {
        run->late++;
        struct text *text = burnin_tell_open(run);
        text_member_integer(text, "round", turn->round);
        text_member_number(text, "late_s", duration_seconds(turn->late));
        burnin_tell(run, EVENT_LATE_ROUND);
    }
    run->last = turn->round;
    lay_out(run, turn->round);
    for (size_t i = 0; i < run->lane_count; i++)
        lane_next(run, &run->lanes[i]);
}

static void look_at_clock(struct burnin_run *run)
{
    struct duration jump = burnin_time_jump(&run->time, run->host.now(run->host.context));
    if (jump.ns == 0)
        return;
    run->jumps++;
    struct text *text = burnin_tell_open(run);
    text_member_number(text, "by_s", duration_seconds(jump));
    encode_plan_time(text, "plan_time", burnin_run_now(run));
    burnin_tell(run, EVENT_CLOCK_JUMPED);
}

/* A round of a phase that is over, its end command run: too late to be held. */
static void skip_round(struct burnin_run *run, const struct burnin_turn *turn)
{
    burnin_tell_missed(run, run->last + 1, turn->missed + 1);
    run->last = turn->round;
}

/* A command of a phase has failed, and the plan says that this ends the run. */
static void end_if_over(struct burnin_run *run)
{
    if (run->phases.over)
        burnin_run_end(run, "a phase's command failed", NULL);
}

/* Nothing is measured: does what is due, and says how long to wait then. */
static struct duration do_turn(struct burnin_run *run)
{
    struct plan_time now = burnin_run_now(run);
    struct burnin_turn turn = burnin_turn(&run->schedule, run->last, now);
    size_t phase = burnin_phase(&run->schedule, now);
    if (turn.ended) {
        burnin_tell_missed(run, run->last + 1, turn.missed);
        bool held = run->phases.doing == PHASE_HELD;
        burnin_run_end(run, held ? "held until its time was over" : "completed", NULL);
        return (struct duration) { 0 };
    }
    if (!burnin_phases_ready(run, phase)) {
        end_if_over(run);
        return look_pause;
    }
    if (turn.round == 0)
        return duration_shorter(plan_time_since(turn.wake, now), look_pause)
                   ? plan_time_since(turn.wake, now)
                   : look_pause;
    if (burnin_phases_any(run->plan) &&
        burnin_phase(&run->schedule, burnin_due(&run->schedule, turn.round)) != phase) {
        skip_round(run, &turn);
        return (struct duration) { 0 };
    }
    burnin_tell_missed(run, run->last + 1, turn.missed);
    begin_round(run, &turn);
    return look_pause;
}

void burnin_run_tick(struct burnin_run *run)
{
    if (run->ended)
        burnin_phases_finish(run);
    if (run->ended || run->paused)
        return;
    look_at_clock(run);
    struct duration pause = run->open == 0 ? do_turn(run) : look_pause;
    if (!run->ended)
        run->host.wake(run->host.context, pause);
}

void burnin_run_command_took(struct burnin_run *run, const struct shop_outcome *outcome)
{
    burnin_phases_took(run, outcome);
    end_if_over(run);
    run->host.wake(run->host.context, (struct duration) { 0 });
}

/* The lane that a slot was visited in. */
static struct burnin_lane *lane_of(struct burnin_run *run, size_t slot)
{
    for (size_t i = 0; i < run->lane_count; i++) {
        struct burnin_lane *lane = &run->lanes[i];
        if (lane->next > 0 && run->visits[lane->next - 1].slot == slot)
            return lane;
    }
    return NULL;
}

void burnin_run_took(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome,
                     bool stored)
{
    struct burnin_lane *lane = lane_of(run, slot);
    run->open--;
    run->seen = burnin_run_now(run);
    if (run->ended)
        burnin_phases_finish(run);
    if (run->ended || (run->paused && !stored))
        return;
    take(run, slot, outcome, stored);
    if (lane != NULL)
        lane_next(run, lane);
    if (run->open == 0 && !run->ended && !run->paused)
        run->host.wake(run->host.context, (struct duration) { 0 });
}

void burnin_run_end(struct burnin_run *run, const char *why, const char *by)
{
    if (run->ended)
        return;
    run->ended = true;
    bool follows = burnin_phases_end(run, strcmp(why, "completed") == 0);
    snprintf(run->why, sizeof run->why, "%s", why);
    size_t trips = 0;
    for (size_t i = 0; i < run->plan->point_count; i++)
        trips += run->slots[i].state.trip != BURNIN_WELL;
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "why", why);
    text_member_string(text, "by", by);
    text_member_integer(text, "last_round", run->last);
    text_member_integer(text, "trips", (int64_t)trips);
    text_member_integer(text, "late", run->late);
    text_member_integer(text, "missed", run->missed);
    if (follows)
        text_member_string(text, "ends_phase", run->plan->phases[run->phases.phase].name);
    burnin_tell_warnings(text);
    burnin_tell(run, EVENT_RUN_ENDED);
    if (follows)
        run->host.wake(run->host.context, (struct duration) { 0 });
}

void burnin_run_pause(struct burnin_run *run)
{
    run->paused = true;
}

/* Whether a plan names the same points in the same order, in the same time. */
static bool is_same(const struct bench_burnin *a, const struct bench_burnin *b)
{
    bool same = a->point_count == b->point_count && a->every_s == b->every_s &&
                a->warm_up_s == b->warm_up_s && a->phase_count == b->phase_count;
    for (size_t i = 0; same && i < a->phase_count; i++)
        same = a->phases[i].duration_s == b->phases[i].duration_s;
    for (size_t i = 0; same && i < a->point_count; i++)
        same = strcmp(a->phases[0].points[i]->name, b->phases[0].points[i]->name) == 0;
    return same;
}

void burnin_run_rebind(struct burnin_run *run, struct bench *bench)
{
    const struct bench_burnin *plan = bench_burnin(bench, run->plan->name);
    if (run->ended)
        return;
    if (plan == NULL || !is_same(run->plan, plan)) {
        burnin_run_end(run, "the plan has changed in the settings", NULL);
        return;
    }
    struct bench *before = run->bench;
    run->bench = bench_ref(bench);
    run->plan = plan;
    bench_unref(before);
}
