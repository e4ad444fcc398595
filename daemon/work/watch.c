/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "watch.h"

#include <math.h>

/* Between two looks at an open link. */
static const struct duration look_pause = { 300 * MILLISECOND_NS };

/* Between two tries at bringing an instrument back: the first and the longest. */
static const struct duration first_pause = { 1 * SECOND_NS };
static const struct duration longest_pause = { 10 * SECOND_NS };

/*
 * Longest try at opening a link, and at identifying what is there besides the
 * profile's times; jobs, reload and the end of the daemon wait for no more.
 */
static const double connect_ms = 1000;
static const double spare_ms = 500;
static const double longest_reply_ms = 2000;

struct watch watch_begin(struct instrument *instrument, const struct protocol *protocol)
{
    return (struct watch) { .instrument = instrument,
                            .identify_ms = 2 * protocol->quiet_ms +
                                           fmin(protocol->reply_ms, longest_reply_ms) + spare_ms,
                            .pause = first_pause };
}

static void watch_schedule(struct watch *watch)
{
    if (watch->away)
        watch->next = moment_plus(monotonic_now(), watch->pause);
    else if (dialogue_connected(instrument_dialogue(watch->instrument)))
        watch->next = moment_plus(monotonic_now(), look_pause);
    else
        watch->next = (struct moment) { 0 };
}

static void watch_set_away(struct watch *watch, bool away)
{
    if (watch->away != away)
        watch->pause = first_pause;
    watch->away = away;
}

bool watch_reach(struct watch *watch, struct moment asked, struct deadline deadline,
                 struct failure *failure)
{
    struct failure own = { 0 };
    struct moment begun = monotonic_now();
    if (!watch->away)
        return true;
    if (!moment_before(watch->refused_at, asked)) {
        *failure = watch->refusal;
        return false;
    }
    if (instrument_connect(watch->instrument, deadline_sooner(deadline, deadline_in(connect_ms)),
                           &own))
        return true;
    if (!deadline_passed(deadline)) {
        watch->refused_at = begun;
        watch->refusal = own;
    }
    *failure = own;
    return false;
}

void watch_after(struct watch *watch, const struct failure *outcome)
{
    const struct dialogue *dialogue = instrument_dialogue(watch->instrument);
    if (outcome->code == FAILURE_NONE || dialogue_in_step(dialogue))
        watch_set_away(watch, false);
    else if (!dialogue_connected(dialogue))
        watch_set_away(watch, true);
    watch_schedule(watch);
}

/* The time that ran out was the try's own: to whom it may concern, the instrument did not answer. */
static void own_time_ran_out(struct failure *failure)
{
    if (failure->code == FAILURE_DEADLINE)
        failure->code = FAILURE_TIMEOUT;
}

static bool bring_back(struct watch *watch, struct failure *failure)
{
    struct instrument *instrument = watch->instrument;
    if (instrument_connect(instrument, deadline_in(connect_ms), failure) &&
        instrument_ready(instrument, deadline_in(watch->identify_ms), failure))
        return true;
    own_time_ran_out(failure);
    return false;
}

static void look_for_it(struct watch *watch, struct failure *failure)
{
    if (bring_back(watch, failure)) {
        watch_set_away(watch, false);
        return;
    }
    watch->pause = duration_doubled(watch->pause, first_pause, longest_pause);
}

bool watch_look(struct watch *watch, struct failure *failure)
{
    bool tell = watch->away;
    if (watch->away) {
        look_for_it(watch, failure);
    } else if (!instrument_present(watch->instrument, failure)) {
        watch_set_away(watch, true);
        tell = true;
    }
    watch_schedule(watch);
    return tell;
}
