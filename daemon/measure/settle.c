/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "settle.h"

#include "daemon/bench/point_chain.h"
#include "leads.h"
#include "record_choice.h"
#include "shape.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LONGER_LOOKS = 2 }; /* at most, where a record was too short */

/* Sets how long a scope looks, and what it can see then. */
static void set_record(struct measurement *measurement, double duration)
{
    const struct profile *profile =
        measurement->bench->instruments[measurement->point->instrument].profile;
    measurement->request.duration = duration;
    if (!measurement->chain.input->vertical)
        return;
    measurement->chain.abilities =
        profile_abilities(profile, measurement->point->at_input, duration);
    measurement->chain.abilities.probe_bandwidth = measurement->chain.probe->bandwidth;
    measurement->chain.lowest_frequency = 1 / duration;
}

const struct scope *measurement_scope(const struct measurement *measurement)
{
    return &measurement->bench->instruments[measurement->point->instrument].profile->scope;
}

/* The record for a signal of which the frequency is expected, or was seen last time. */
static double first_record(const struct measurement *measurement,
                           const struct measure_memory *memory)
{
    double frequency = measurement->point->frequency;
    if (isnan(frequency) && memory && memory->known)
        frequency = memory->signal.frequency;
    return isnan(frequency)
               ? bench_record(measurement->point)
               : record_for(measurement_scope(measurement), &measurement->need, frequency);
}

bool measurement_prepare(struct measurement *measurement, const struct measure_memory *memory)
{
    if (!point_chain(measurement->bench, measurement->point, &measurement->chain,
                     measurement->failure))
        return false;
    measurement->leads_age =
        leads_take(measurement->bench, measurement->point, &measurement->lead_zero,
                   &measurement->chain, &measurement->leads);
    measurement->need = bench_of_shape(measurement->bench, measurement->point)
                            ? shape_need(measurement->point->quantity)
                            : timebase_need(measurement->chain.aspect);
    measurement->request.quantity = measurement->point->at_input;
    measurement->request.input = measurement->point->input;
    measurement->record_given =
        !isnan(measurement->request.duration) || !isnan(measurement->point->record);
    measurement->sure.frequency = NAN;
    if (isnan(measurement->request.duration))
        set_record(measurement, measurement->record_given || !measurement->chain.input->vertical
                                    ? bench_record(measurement->point)
                                    : first_record(measurement, memory));
    else
        set_record(measurement, measurement->request.duration);
    return true;
}

struct acquirer measurement_acquirer(const struct measurement *measurement)
{
    return (struct acquirer) { measurement->instrument, &measurement->chain, measurement->deadline,
                               measurement->courtesy };
}

bool measurement_goes_on(const struct measurement *measurement, size_t next, size_t count)
{
    const struct courtesy *courtesy = measurement->courtesy;
    const struct acquirer acquirer = measurement_acquirer(measurement);
    if (next == 0 || courtesy == NULL)
        return true;
    if (!courtesy->wanted(courtesy->context))
        return failure_set(measurement->failure, FAILURE_DEADLINE, NULL, NULL,
                           "nobody waits for it any more, after %zu of %zu readings", next, count);
    return acquire_let_others(&acquirer, true, measurement->failure);
}

bool measurement_look(struct measurement *measurement)
{
    const struct acquirer acquirer = measurement_acquirer(measurement);
    bool acquired = acquire(&acquirer, &measurement->request, &measurement->acquisition,
                            measurement->trace, measurement->failure);
    measurement->seen_at = monotonic_now();
    return acquired;
}

/* Runs the plan to its end; the steps it took are copied into the reading either way. */
static bool settle(struct measurement *measurement, const struct measure_memory *memory,
                   struct reading *reading)
{
    struct plan plan;
    struct signal expected;
    bool expects =
        point_expected(measurement->bench, measurement->point, &measurement->chain, &expected);
    if (memory && memory->known)
        plan_resume(&plan, &measurement->chain, &memory->setup, memory->beyond);
    else
        plan_start(&plan, &measurement->chain, expects ? &expected : NULL);
    enum plan_action action;
    bool acquired = true;
    while (acquired && (action = plan_next(&plan, &measurement->request.setup,
                                           measurement->failure)) == PLAN_ACQUIRE) {
        acquired = measurement_look(measurement);
        if (acquired && measurement->acquisition.overload)
            plan_overload(&plan, measurement->acquisition.side);
        else if (acquired)
            plan_reading(&plan, &measurement->acquisition.signal);
    }
    measurement->beyond = plan.beyond;
    reading->step_count = plan.step_count;
    memcpy(reading->steps, plan.steps, sizeof plan.steps);
    return acquired && action == PLAN_SETTLED;
}

/* Makes what is known of the frequency part of what was seen. */
static bool read_frequency(struct measurement *measurement)
{
    struct signal *signal = &measurement->acquisition.signal;
    if (!measurement->sure.alias) {
        signal->frequency = measurement->sure.frequency;
        return true;
    }
    measurement->request.whole = true;
    if (!measurement_look(measurement))
        return false;
    if (measurement->acquisition.overload)
        return failure_set(measurement->failure, FAILURE_UNSTABLE, NULL,
                           "a signal that stays within one range",
                           "a record for the whole of it overloaded");
    signal->frequency = measurement->sure.frequency;
    return true;
}

/* Settles once more, in another record, from the setup that settled. */
static bool settle_again(struct measurement *measurement, double record, struct reading *reading)
{
    const struct measure_memory here = { .known = true, .setup = measurement->request.setup };
    set_record(measurement, record);
    return settle(measurement, &here, reading);
}

static bool shows_period(const struct measurement *measurement)
{
    const struct acquirer acquirer = measurement_acquirer(measurement);
    return isfinite(measurement->acquisition.signal.frequency) &&
           !looks_flat(&acquirer, &measurement->request, &measurement->acquisition);
}

/*
 * Settles in the record that the last signal wanted; where that is not what
 * is there now, no period or not even a range that holds it, in the point's own.
 */
static bool settle_first(struct measurement *measurement, const struct measure_memory *memory,
                         struct reading *reading)
{
    bool own = record_same(measurement_scope(measurement), measurement->request.duration,
                           bench_record(measurement->point));
    bool guessed = !measurement->record_given && isnan(measurement->point->frequency) && !own;
    bool settled = settle(measurement, memory, reading);
    if (!measurement->chain.input->vertical || !guessed ||
        (settled ? shows_period(measurement) : measurement->failure->code != FAILURE_UNSTABLE))
        return settled;
    failure_clear(measurement->failure);
    return settle_again(measurement, bench_record(measurement->point), reading);
}

/* From a record in which the signal was flat, and was elsewhere a moment later: a longer one shows how slow it is. */
static bool settle_slower(struct measurement *measurement, double before, struct reading *reading)
{
    double left = deadline_left_ms(measurement->deadline) / 1000;
    double longer = record_longer(measurement_scope(measurement), before, left);
    return settle_again(measurement, isnan(longer) ? before : longer, reading);
}

/*
 * A record that is flat may be of a signal that repeats with its samples. Where a faster look shows a
 * swing, what is settled is a record of that; one that is flat there all the same was hit by
 * a spike, or is slower than the first record.
 */
static bool settle_flat(struct measurement *measurement, struct reading *reading)
{
    const struct acquirer acquirer = measurement_acquirer(measurement);
    double before = measurement->request.duration, duration;
    bool moved;
    if (!measurement->chain.input->vertical ||
        !looks_flat(&acquirer, &measurement->request, &measurement->acquisition))
        return true;
    if (!flat_look(&acquirer, measurement_scope(measurement), &measurement->request,
                   &measurement->acquisition, &duration, &moved, measurement->failure))
        return false;
    if (isnan(duration))
        return !moved || measurement->record_given || settle_slower(measurement, before, reading);
    if (measurement->record_given)
        return failure_set(
            measurement->failure, FAILURE_UNSUPPORTED, NULL,
            "a record in which the signal shows, or none stated",
            "flat in the record of %.3g s, which is stated, but not in one of %.3g s: "
            "the signal repeats with the samples",
            before, duration);
    return settle_again(measurement, duration, reading) &&
           (!looks_flat(&acquirer, &measurement->request, &measurement->acquisition) ||
            settle_slower(measurement, before, reading));
}

/* Looks longer where a record was too short, and is not stated. */
static bool settle_longer(struct measurement *measurement, struct reading *reading)
{
    for (int looks = measurement->record_given ? LONGER_LOOKS : 0; looks < LONGER_LOOKS; looks++) {
        if (!record_too_short(&measurement->acquisition, &measurement->chain,
                              &measurement->request.setup))
            return true;
        double left = deadline_left_ms(measurement->deadline) / 1000;
        double longer =
            record_longer(measurement_scope(measurement), measurement->request.duration, left);
        if (!isnan(longer) && !settle_again(measurement, longer, reading))
            return false;
    }
    return true;
}

bool measurement_settle(struct measurement *measurement, const struct measure_memory *memory,
                        struct reading *reading)
{
    const struct acquirer acquirer = measurement_acquirer(measurement);
    const struct acquisition *seen = &measurement->acquisition;
    if (!settle_first(measurement, memory, reading) || !settle_flat(measurement, reading) ||
        !settle_longer(measurement, reading))
        return false;
    if (!second_look_due(seen))
        return true;
    if (!second_look(&acquirer, measurement_scope(measurement), &measurement->request, seen,
                     &measurement->sure, measurement->failure))
        return false;
    double frequency = measurement->sure.frequency;
    double better = record_for(measurement_scope(measurement), &measurement->need, frequency);
    bool stays = isnan(frequency) || measurement->record_given ||
                 record_suits(measurement_scope(measurement), &measurement->need, frequency,
                              measurement->request.duration) ||
                 record_same(measurement_scope(measurement), better, measurement->request.duration);
    if (!stays && !settle_again(measurement, better, reading))
        return false;
    if (!stays)
        second_look_compare(&measurement->sure, &seen->waveform);
    return read_frequency(measurement);
}
