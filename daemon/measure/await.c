/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "await.h"

#include "acquire.h"
#include "core/range/plan.h"
#include "daemon/bench/point_chain.h"
#include "measure_priv.h"
#include "shape_reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What is left of the record lies behind the trigger; own choice. */
static const double usual_before = 0.2;

/* Room on the screen beyond level and signal, of the distance between them; own choice. */
static const double headroom = 1.25;

/* One wait under way. */
struct vigil {
    struct measurement measurement;
    struct await *await;
    struct chain shown; /* the chain for single samples */
    struct trigger trigger;
    struct deadline end; /* of the wait */
};

static const struct trigger_words *words_of(const struct vigil *vigil)
{
    return &measurement_scope(&vigil->measurement)->trigger;
}

/* How long the record is, and how much of it lies before the trigger. */
static bool divide_record(struct vigil *vigil, double duration)
{
    struct measurement *measurement = &vigil->measurement;
    struct await *await = vigil->await;
    const struct scope *scope = measurement_scope(measurement);
    double before = await->before, after = await->after;
    if (isnan(duration) && (isfinite(before) || isfinite(after)))
        duration = isnan(after) ? before / usual_before
                                : (isnan(before) ? after / (1 - usual_before) : before + after);
    measurement->request.duration = isnan(duration) ? bench_record(measurement->point) : duration;
    double whole = scope->durations[scope_record(scope, measurement->request.duration)];
    if (isnan(before))
        before = isnan(after) ? usual_before * whole : fmin(usual_before * whole, whole - after);
    if (!(before >= 0) || before + (isnan(after) ? 0 : after) > whole * (1 + 1e-9))
        return failure_set(measurement->failure, FAILURE_SETTINGS, NULL,
                           "less before and after it, or a longer duration",
                           "the longest record that suits is %.4g s", whole);
    if (before > words_of(vigil)->most_before * whole)
        return failure_set(measurement->failure, FAILURE_SETTINGS, NULL,
                           "less before it, or a longer duration",
                           "%.4g s before it is more than %.3g %% of a record of %.4g s", before,
                           100 * words_of(vigil)->most_before, whole);
    vigil->trigger.before = before;
    return true;
}

/* Sees the signal as it is, in wider and wider ranges. */
static bool look_first(struct vigil *vigil)
{
    struct measurement *measurement = &vigil->measurement;
    const struct front_end *input = measurement->chain.input;
    struct plan plan;
    struct signal expected;
    bool expects =
        point_expected(measurement->bench, measurement->point, &measurement->chain, &expected);
    plan_start(&plan, &measurement->chain, expects ? &expected : NULL);
    if (plan_next(&plan, &measurement->request.setup, measurement->failure) != PLAN_ACQUIRE)
        return false;
    size_t range = measurement->request.setup.range;
    measurement->request.setup = setup_centred(input, range, 0);
    for (;;) {
        if (!measurement_look(measurement))
            return false;
        if (!measurement->acquisition.overload)
            return true;
        if (input == NULL || ++range >= input->count)
            return failure_set(measurement->failure, FAILURE_OVER_RANGE, NULL, NULL,
                               "the signal is beyond the widest range");
        measurement->request.setup = setup_centred(input, range, 0);
    }
}

/* What may not be applied is not waited for either. */
static bool within_rating(const struct vigil *vigil)
{
    const struct measurement *measurement = &vigil->measurement;
    const struct setup widest = { .range = measurement->chain.input->count - 1 };
    double level = chain_input(&vigil->shown, &widest, vigil->await->when.level);
    double rating = measurement->chain.probe->rating, tip = vigil->await->when.level;
    double bare = measurement_scope(measurement)->max_input;
    return !(fabs(tip) > rating || fabs(level) > bare) ||
           failure_set(measurement->failure, FAILURE_RATING, NULL, "a level within the ratings",
                       "a level of %.6g at the tip, %.4g V at the input", tip, level);
}

/*
 * The finest range on whose screen both the signal and, as far beyond the level as the signal is on this
 * side of it, what may come have room, from `least` on.
 */
static bool choose_setup(struct vigil *vigil, size_t least)
{
    struct measurement *measurement = &vigil->measurement;
    const struct front_end *input = measurement->chain.input;
    const struct signal *seen = &measurement->acquisition.signal;
    for (size_t range = least; range < input->count; range++) {
        const double per_division = input->ranges[range].volts_per_division;
        struct setup setup = setup_centred(input, range, 0);
        double level = chain_input(&vigil->shown, &setup, vigil->await->when.level);
        double low, high, half = headroom * fmax(fabs(level - seen->low), fabs(level - seen->high));
        setup = setup_centred(input, range, level);
        setup_window(input, &setup, &low, &high);
        double centre = setup.offset - setup.position;
        double reach = words_of(vigil)->level_divisions - words_of(vigil)->error_divisions;
        if (level - half < low || level + half > high ||
            fabs(level - centre) > reach * per_division)
            continue;
        measurement->request.setup = setup;
        vigil->trigger.level = level;
        return true;
    }
    return failure_set(measurement->failure, FAILURE_OVER_RANGE, NULL,
                       "a level and a signal that one range shows",
                       "no range shows both the signal, %.4g to %.4g V at the input, and the level",
                       seen->low, seen->high);
}

/* Whether the record shows what was waited for; the scope's word alone is none. */
static bool shows_it(const struct vigil *vigil)
{
    const struct measurement *measurement = &vigil->measurement;
    const struct setup *setup = &measurement->request.setup;
    const struct trace *trace = measurement->trace;
    double per_division = measurement->chain.input->ranges[setup->range].volts_per_division;
    double error = chain_error_limit(&vigil->shown, setup, &measurement->acquisition.signal,
                                     vigil->trigger.level) +
                   words_of(vigil)->error_divisions * per_division;
    return when_shown(trace->volts, trace->count, vigil->trigger.before / trace->interval,
                      words_of(vigil)->position_samples, vigil->trigger.rising,
                      vigil->trigger.level, error) ||
           failure_set(measurement->failure, FAILURE_NO_VALUE,
                       measurement->bench->instruments[measurement->point->instrument].name,
                       "a record that passes the level where it was triggered",
                       "the scope triggered, but the record does not show it: what it was is "
                       "shorter than its samples are apart, or no such thing");
}

static void count_watched(struct vigil *vigil)
{
    const struct trigger *trigger = &vigil->trigger;
    if (moment_is_set(trigger->armed) && moment_before(trigger->armed, trigger->until))
        vigil->await->watched += duration_seconds(moment_since(trigger->until, trigger->armed));
}

/* One wait, as long as it lasts or until others want the instrument. */
static bool wait_once(struct vigil *vigil, bool *again)
{
    struct measurement *measurement = &vigil->measurement;
    struct failure own = { 0 }, *outer = measurement->failure;
    vigil->trigger.wait_ms = fmax(deadline_left_ms(vigil->end), 0);
    measurement->failure = &own;
    bool came = measurement_look(measurement);
    measurement->failure = outer;
    count_watched(vigil);
    *again = !came && own.code == FAILURE_NO_TRIGGER && !deadline_passed(vigil->end);
    if (!came && !*again)
        *outer = own;
    return came;
}

/* Waits, in a wider range where what came ran off the screen. */
static bool keep_vigil(struct vigil *vigil)
{
    vigil->end = deadline_in(vigil->await->wait * 1000);
    struct measurement *measurement = &vigil->measurement;
    const struct courtesy *courtesy = measurement->courtesy;
    bool again;
    for (;;) {
        if (courtesy != NULL && !courtesy->wanted(courtesy->context))
            return failure_set(measurement->failure, FAILURE_DEADLINE, NULL, NULL,
                               "nobody waits for it any more");
        measurement->request.trigger = &vigil->trigger;
        const struct acquirer acquirer = { measurement->instrument, &measurement->chain,
                                           measurement->deadline, courtesy };
        if (!acquire_let_others(&acquirer, true, measurement->failure))
            return false;
        bool came = wait_once(vigil, &again);
        measurement->request.trigger = NULL;
        if (!came && !again)
            return false;
        if (came && !measurement->acquisition.overload)
            return shows_it(vigil);
        if (came && deadline_passed(vigil->end))
            return failure_set(measurement->failure, FAILURE_OVER_RANGE, NULL, NULL,
                               "it came, but ran off the screen");
        if (came && !choose_setup(vigil, measurement->request.setup.range + 1))
            return false;
    }
}

static bool wait_ends(const void *context)
{
    const struct courtesy *courtesy = context;
    return !courtesy->wanted(courtesy->context) || courtesy->due(courtesy->context, true);
}

static bool begin(struct vigil *vigil, double duration)
{
    struct measurement *measurement = &vigil->measurement;
    const struct bench_instrument *instrument =
        &measurement->bench->instruments[measurement->point->instrument];
    if (instrument->profile->kind != PROFILE_SCOPE)
        return failure_set(measurement->failure, FAILURE_UNSUPPORTED, instrument->name,
                           "a point on a scope", "a meter has no waveform to capture");
    if (!profile_triggers(instrument->profile))
        return failure_set(measurement->failure, FAILURE_UNSUPPORTED, instrument->name,
                           "a profile with a \"trigger\"",
                           "its profile does not say how it is triggered");
    if (!divide_record(vigil, duration) || !measurement_prepare(measurement, NULL))
        return false;
    vigil->shown = measurement->chain;
    vigil->shown.aspect = ASPECT_DC;
    vigil->trigger.rising = vigil->await->when.rising == (measurement->chain.probe->factor > 0);
    if (measurement->courtesy != NULL) {
        vigil->trigger.ends = wait_ends;
        vigil->trigger.context = measurement->courtesy;
    }
    return within_rating(vigil);
}

/* What is told of the setup, as a capture tells it. */
static void tell_setup(const struct measurement *measurement, struct reading *reading)
{
    reading->setup = measurement->request.setup;
    reading->step_count = 1;
    reading->steps[0] = (struct plan_step) { .setup = measurement->request.setup,
                                             .outcome = STEP_SETTLED,
                                             .value = measurement->acquisition.signal.value };
}

bool measure_await(struct instrument *instrument, const struct bench *bench,
                   const struct bench_point *point, double duration, struct deadline deadline,
                   const struct courtesy *courtesy, struct await *await, struct capture *capture)
{
    struct trace trace = { 0 };
    struct failure failure = { 0 };
    struct vigil vigil = { .measurement = { .instrument = instrument,
                                            .point = point,
                                            .bench = bench,
                                            .deadline = deadline,
                                            .courtesy = courtesy,
                                            .trace = &trace,
                                            .failure = &failure },
                           .await = await };
    struct moment begun = monotonic_now();
    memset(capture, 0, sizeof *capture);
    await->watched = 0;
    bool done = begin(&vigil, duration) && look_first(&vigil) && choose_setup(&vigil, 0) &&
                keep_vigil(&vigil);
    await->waited = duration_seconds(moment_since(monotonic_now(), begun));
    await->at = vigil.trigger.before;
    if (done)
        tell_setup(&vigil.measurement, &capture->reading);
    return measurement_show(&vigil.measurement, done, &trace, capture);
}
