/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_plan.h"

#include <math.h>
#include <stdlib.h>

/* A wall clock this far off was set; less is what NTP does all day. */
static const int64_t jump_least = INT64_C(500000000);

struct burnin_time burnin_time_begin(struct burnin_clock now)
{
    return (struct burnin_time) { .origin = now };
}

struct burnin_time burnin_time_resume(const struct burnin_time *before, bool same_boot,
                                      int64_t last, struct burnin_clock now)
{
    struct burnin_time time = *before;
    if (same_boot && now.steady >= before->origin.steady)
        return time;
    time.origin = now;
    time.origin.wall -= before->offset;
    if (time.origin.wall < last)
        time.origin.wall = last;
    time.offset = now.wall - time.origin.wall;
    return time;
}

int64_t burnin_time_now(const struct burnin_time *time, struct burnin_clock now)
{
    return time->origin.wall + (now.steady - time->origin.steady);
}

int64_t burnin_time_jump(struct burnin_time *time, struct burnin_clock now)
{
    int64_t offset = now.wall - burnin_time_now(time, now);
    int64_t jump = offset - time->offset;
    if (jump < jump_least && jump > -jump_least)
        return 0;
    time->offset = offset;
    return jump;
}

static int64_t nanoseconds(double seconds)
{
    return (int64_t)llround(seconds * 1e9);
}

struct burnin_schedule burnin_schedule(const struct bench_burnin *plan, int64_t begin)
{
    struct burnin_schedule schedule = { .every = nanoseconds(plan->every_s),
                                        .phase_count = plan->phase_count };
    int64_t into = begin % schedule.every;
    schedule.first = into == 0 ? begin : begin - into + schedule.every;
    schedule.warm_until = schedule.first + nanoseconds(plan->warm_up_s);
    int64_t end = schedule.first;
    for (size_t i = 0; i < plan->phase_count; i++) {
        end += nanoseconds(plan->phases[i].duration_s);
        schedule.phase_ends[i] = end;
    }
    return schedule;
}

int64_t burnin_end(const struct burnin_schedule *schedule)
{
    return schedule->phase_ends[schedule->phase_count - 1];
}

/* The latest round due at or before a moment; 0 or less: none. */
static int64_t round_at(const struct burnin_schedule *schedule, int64_t moment)
{
    int64_t since = moment - schedule->first;
    return since < 0 ? 0 : since / schedule->every + 1;
}

int64_t burnin_rounds(const struct burnin_schedule *schedule)
{
    return round_at(schedule, burnin_end(schedule) - 1);
}

int64_t burnin_due(const struct burnin_schedule *schedule, int64_t round)
{
    return schedule->first + (round - 1) * schedule->every;
}

size_t burnin_phase(const struct burnin_schedule *schedule, int64_t moment)
{
    size_t phase = 0;
    while (phase + 1 < schedule->phase_count && moment >= schedule->phase_ends[phase])
        phase++;
    return phase;
}

struct burnin_turn burnin_turn(const struct burnin_schedule *schedule, int64_t last, int64_t now)
{
    struct burnin_turn turn = { 0 };
    int64_t rounds = burnin_rounds(schedule);
    int64_t round = round_at(schedule, now);
    if (now >= burnin_end(schedule)) {
        turn.ended = true;
        turn.missed = rounds > last ? rounds - last : 0;
    } else if (round > last) {
        turn.round = round;
        turn.missed = round - last - 1;
        turn.late = now - burnin_due(schedule, round);
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
