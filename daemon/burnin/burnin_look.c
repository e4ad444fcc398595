/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_look.h"

#include "burnin_priv.h"

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
static const struct outlook *outlook_of(struct burnin_run *run, size_t index)
{
    struct burnin_slot *slot = &run->slots[index];
    const struct track *course = &slot->course;
    const struct limits *limits = &burnin_run_point(run, index, run->last)->limits;
    double scratch[2 * BURNIN_COURSE];
    if (course->count == 0)
        return NULL;
    if (slot->outlook_of != slot->state.readings || slot->outlook_limits.low != limits->low ||
        slot->outlook_limits.high != limits->high ||
        slot->outlook_limits.judged != limits->judged) {
        outlook_find(course->times, course->values, course->count, course->quantum, limits, scratch,
                     &slot->outlook);
        slot->outlook_of = slot->state.readings;
        slot->outlook_limits = *limits;
    }
    return &slot->outlook;
}

static struct slot_look look_at_slot(struct burnin_run *run, size_t index)
{
    const struct burnin_slot *slot = &run->slots[index];
    return (struct slot_look) {
        .point = run->plan->phases[0].points[index],
        .figures = &slot->state,
        .state = state_of(slot),
        .tripped = burnin_due(&run->schedule, slot->state.trip_round),
        .outlook = outlook_of(run, index),
        .origin = run->schedule.first,
    };
}

static struct duration not_negative(struct duration duration)
{
    return duration.ns > 0 ? duration : (struct duration) { 0 };
}

/* What only a run that goes on has. */
static void look_ahead(struct run_look *look, struct plan_time now)
{
    const struct burnin_run *run = look->run;
    const struct burnin_schedule *schedule = &run->schedule;
    look->phase = run->plan->phases[burnin_phase(schedule, now)].name;
    look->warm_up = plan_time_before(now, schedule->warm_until);
    look->left = not_negative(plan_time_since(look->end, now));
    if (run->last >= look->rounds)
        return;
    look->next = run->last + 1;
    look->next_due = burnin_due(schedule, look->next);
    look->next_in = not_negative(plan_time_since(look->next_due, now));
}

static struct run_look look_at_run(const struct burnin_run *run)
{
    struct run_look look = { .run = run,
                             .end = burnin_end(&run->schedule),
                             .rounds = burnin_rounds(&run->schedule) };
    if (!run->ended)
        look_ahead(&look, burnin_time_now(&run->time, run->host.now(run->host.context)));
    return look;
}

bool burnin_walk_begin(struct burnin *burnin, const char *run, struct burnin_walk *walk,
                       struct failure *failure)
{
    const struct burnin_entry *entry = run != NULL ? burnin_find(burnin, run, failure) : NULL;
    *walk = (struct burnin_walk) { .last = UINT64_MAX };
    if (entry != NULL)
        walk->run = walk->last = entry->number;
    return run == NULL || entry != NULL;
}

/* The oldest run of that number or a later one; NULL: there is none. */
static const struct burnin_entry *entry_from(const struct burnin *burnin, uint64_t number)
{
    const struct burnin_entry *entry;
    TAILQ_FOREACH(entry, &burnin->entries, entry)
    if (entry->number >= number)
        break;
    return entry;
}

bool burnin_walk_next(struct burnin *burnin, struct burnin_walk *walk, struct burnin_row *row)
{
    const struct burnin_entry *entry = entry_from(burnin, walk->run);
    bool gone = entry == NULL || entry->number != walk->run;
    if (walk->inside && !gone && walk->slot < entry->run->plan->point_count) {
        row->kind = BURNIN_ROW_POINT;
        row->slot = look_at_slot(entry->run, walk->slot++);
        return true;
    }
    if (walk->inside) {
        row->kind = BURNIN_ROW_END;
        walk->inside = false;
        walk->run++;
        return true;
    }
    if (entry == NULL || entry->number > walk->last)
        return false;
    row->kind = BURNIN_ROW_RUN;
    row->run = look_at_run(entry->run);
    *walk = (struct burnin_walk) { entry->number, walk->last, 0, true };
    return true;
}
