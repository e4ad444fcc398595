/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_plan.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* A wall clock this far off was set; less is what NTP does all day. */
static const struct duration jump_least = { 500 * MILLISECOND_NS };

struct burnin_time burnin_time_begin(struct burnin_clock now)
{
    return (struct burnin_time) { .origin = { now.wall.ns }, .steady = now.steady };
}

struct burnin_time burnin_time_resume(const struct burnin_time *before, bool same_boot,
                                      struct plan_time last, struct burnin_clock now)
{
    struct burnin_time time = *before;
    if (same_boot && steady_time_since(now.steady, before->steady).ns >= 0)
        return time;
    time.steady = now.steady;
    time.origin.ns = ns_difference(now.wall.ns, before->offset.ns);
    if (plan_time_before(time.origin, last))
        time.origin = last;
    time.offset = wall_time_since(now.wall, plan_time_shown(time.origin));
    return time;
}

struct plan_time burnin_time_now(const struct burnin_time *time, struct burnin_clock now)
{
    return plan_time_plus(time->origin, steady_time_since(now.steady, time->steady));
}

struct duration burnin_time_jump(struct burnin_time *time, struct burnin_clock now)
{
    struct duration offset = wall_time_since(now.wall, plan_time_shown(burnin_time_now(time, now)));
    struct duration jump = { ns_difference(offset.ns, time->offset.ns) };
    if (jump.ns < jump_least.ns && jump.ns > -jump_least.ns)
        return (struct duration) { 0 };
    time->offset = offset;
    return jump;
}

struct burnin_schedule burnin_schedule(const struct bench_burnin *plan, struct plan_time begin)
{
    struct burnin_schedule schedule = { .first = begin,
                                        .every = duration_of_seconds(plan->every_s),
                                        .phase_count = plan->phase_count };
    assert(schedule.every.ns > 0);
    int64_t into = begin.ns % schedule.every.ns;
    if (into != 0)
        schedule.first =
            plan_time_plus(begin, (struct duration) { ns_difference(schedule.every.ns, into) });
    schedule.warm_until = plan_time_plus(schedule.first, duration_of_seconds(plan->warm_up_s));
    struct plan_time end = schedule.first;
    for (size_t i = 0; i < plan->phase_count; i++) {
        end = plan_time_plus(end, duration_of_seconds(plan->phases[i].duration_s));
        schedule.phase_ends[i] = end;
    }
    return schedule;
}

struct plan_time burnin_end(const struct burnin_schedule *schedule)
{
    return schedule->phase_ends[schedule->phase_count - 1];
}

/* The latest round due at or before a time; 0 or less: none. */
static int64_t round_at(const struct burnin_schedule *schedule, struct plan_time time)
{
    struct duration since = plan_time_since(time, schedule->first);
    return since.ns < 0 ? 0 : since.ns / schedule->every.ns + 1;
}

int64_t burnin_rounds(const struct burnin_schedule *schedule)
{
    return round_at(schedule, plan_time_plus(burnin_end(schedule), (struct duration) { -1 }));
}

struct plan_time burnin_due(const struct burnin_schedule *schedule, int64_t round)
{
    return plan_time_plus(schedule->first, duration_times(schedule->every, round - 1));
}

double burnin_hours(const struct burnin_schedule *schedule, int64_t round)
{
    return duration_seconds(plan_time_since(burnin_due(schedule, round), schedule->first)) / 3600;
}

bool burnin_warms(const struct burnin_schedule *schedule, int64_t round)
{
    return plan_time_before(burnin_due(schedule, round), schedule->warm_until);
}

size_t burnin_phase(const struct burnin_schedule *schedule, struct plan_time time)
{
    size_t phase = 0;
    while (phase + 1 < schedule->phase_count &&
           !plan_time_before(time, schedule->phase_ends[phase]))
        phase++;
    return phase;
}

struct burnin_turn burnin_turn(const struct burnin_schedule *schedule, int64_t last,
                               struct plan_time now)
{
    struct burnin_turn turn = { 0 };
    int64_t rounds = burnin_rounds(schedule);
    int64_t round = round_at(schedule, now);
    if (!plan_time_before(now, burnin_end(schedule))) {
        turn.ended = true;
        turn.missed = rounds > last ? rounds - last : 0;
    } else if (round > last) {
        turn.round = round;
        turn.missed = round - last - 1;
        turn.late = plan_time_since(now, burnin_due(schedule, round));
    } else {
        turn.wake = last < rounds ? burnin_due(schedule, last + 1) : burnin_end(schedule);
    }
    return turn;
}

static int compare_sizes(size_t a, size_t b)
{
    return (a > b) - (a < b);
}

static int compare_numbers(double a, double b)
{
    if (isnan(a) || isnan(b))
        return isnan(b) - isnan(a);
    return (a > b) - (a < b);
}

static int compare_visits(const void *left, const void *right)
{
    const struct burnin_visit *a = left;
    const struct burnin_visit *b = right;
    int order = compare_sizes(a->instrument, b->instrument);
    if (order == 0)
        order = (a->input > b->input) - (a->input < b->input);
    if (order == 0)
        order = (a->function > b->function) - (a->function < b->function);
    if (order == 0)
        order = compare_numbers(a->level, b->level);
    if (order == 0)
        order = compare_numbers(a->factor, b->factor);
    return order != 0 ? order : compare_sizes(a->slot, b->slot);
}

void burnin_order(struct burnin_visit *visits, size_t count, bool back)
{
    qsort(visits, count, sizeof *visits, compare_visits);
    for (size_t i = 0; back && i < count / 2; i++) {
        struct burnin_visit other = visits[i];
        visits[i] = visits[count - 1 - i];
        visits[count - 1 - i] = other;
    }
}
