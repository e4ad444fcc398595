/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "acquire.h"

#include <math.h>

/*
 * A link that failed is brought in step again and asked once more. Somebody who turns knobs may
 * turn several; an instrument on which a setting never stays is not worth the whole deadline.
 */
enum { ATTEMPTS = 2, ATTEMPTS_CHANGED = 6 };

/*
 * Whether bringing the link in step again, with all settings, may help. A scope refuses a setting
 * that does not go with the knob that somebody turned just before it.
 */
static bool worth_another(enum failure_code code, bool scope)
{
    return code == FAILURE_TIMEOUT || code == FAILURE_DISCONNECTED ||
           code == FAILURE_UNEXPECTED_REPLY || code == FAILURE_LINE_DAMAGED ||
           (scope && code == FAILURE_INSTRUMENT_ERROR);
}

/* How often it has been tried, and what for. */
struct attempts {
    int failed;
    int changed;
    struct failure first_change; /* why, where that is all that a deadline left us */
};

/* Whether to try again after a failure; if not, it is the one to tell, or what lay behind it. */
static bool once_more(struct attempts *attempts, const struct acquirer *acquirer,
                      struct failure *own)
{
    bool changed = own->code == FAILURE_CHANGED;
    bool again = changed ? ++attempts->changed < ATTEMPTS_CHANGED
                         : worth_another(own->code, acquirer->chain->input->vertical) &&
                               ++attempts->failed < ATTEMPTS;
    if (changed && attempts->changed == 1)
        attempts->first_change = *own;
    if (again && !deadline_passed(acquirer->deadline)) {
        failure_clear(own);
        return true;
    }
    if (own->code == FAILURE_DEADLINE && attempts->changed > 0)
        *own = attempts->first_change;
    return false;
}

/*
 * The one place that looks at what a driver hands up before it counts: finite
 * figures, and extremes within what the range can show. A reading beyond its
 * range is an overload whatever the instrument calls it.
 */
static bool recheck(const struct chain *chain, const struct setup *setup, struct acquisition *seen,
                    struct failure *failure)
{
    if (seen->overload)
        return true;
    if (!isfinite(seen->signal.value) || !isfinite(seen->signal.mean) ||
        !isfinite(seen->signal.low) || !isfinite(seen->signal.high) || seen->signal.noise < 0)
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "finite figures",
                           "the instrument's figures are not numbers");
    double low, high;
    setup_window(chain->input, setup, &low, &high);
    const struct range *range = &chain->input->ranges[setup->range];
    bool unipolar = !chain->input->vertical && range->low >= 0;
    bool over = seen->signal.high > high + range->resolution / 2;
    bool under = !unipolar && seen->signal.low < low - range->resolution / 2;
    if (over || under) {
        seen->overload = true;
        seen->side = over && under ? SIDE_UNKNOWN : over ? SIDE_HIGH : SIDE_LOW;
    }
    return true;
}

/* What was seen so far must have been this instrument's. */
bool acquire_let_others(const struct acquirer *acquirer, bool repeats, struct failure *failure)
{
    const struct courtesy *courtesy = acquirer->courtesy;
    if (courtesy == NULL || !courtesy->due(courtesy->context, repeats))
        return true;
    return (!dialogue_in_step(instrument_dialogue(acquirer->instrument)) ||
            instrument_confirm(acquirer->instrument, acquirer->deadline, failure)) &&
           courtesy->give_way(courtesy->context, repeats, failure);
}

bool acquire(const struct acquirer *acquirer, const struct request *request,
             struct acquisition *acquisition, struct trace *trace, struct failure *failure)
{
    struct attempts attempts = { 0 };
    struct failure own = { 0 };
    if (!acquire_let_others(acquirer, false, failure))
        return false;
    do {
        if (instrument_acquire(acquirer->instrument, request, acquirer->deadline, acquisition,
                               trace, &own))
            return recheck(acquirer->chain, &request->setup, acquisition, failure);
    } while (once_more(&attempts, acquirer, &own));
    if (failure)
        *failure = own;
    return false;
}

bool acquire_ground(const struct acquirer *acquirer, const struct request *request,
                    struct signal *zero, struct failure *failure)
{
    struct attempts attempts = { 0 };
    struct failure own = { 0 };
    do {
        if (instrument_ground(acquirer->instrument, request, acquirer->deadline, zero, &own))
            return true;
    } while (once_more(&attempts, acquirer, &own));
    if (failure)
        *failure = own;
    return false;
}

bool acquire_pair(const struct acquirer *acquirer, const struct request requests[2],
                  struct trace traces[2], bool *overload, struct failure *failure)
{
    struct attempts attempts = { 0 };
    struct failure own = { 0 };
    if (!acquire_let_others(acquirer, false, failure))
        return false;
    do {
        if (instrument_acquire_pair(acquirer->instrument, requests, acquirer->deadline, traces,
                                    overload, &own))
            return true;
    } while (once_more(&attempts, acquirer, &own));
    if (failure)
        *failure = own;
    return false;
}
