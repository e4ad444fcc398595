/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "acquire.h"

#include <math.h>

/* A link that failed is brought in step again and asked once more. */
enum { ATTEMPTS = 2 };

/* Whether bringing the link in step again may help. */
static bool worth_another(enum failure_code code)
{
    return code == FAILURE_TIMEOUT || code == FAILURE_DISCONNECTED ||
           code == FAILURE_UNEXPECTED_REPLY || code == FAILURE_LINE_DAMAGED;
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
                           "the instrument's figures are no numbers");
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

bool acquire(const struct acquirer *acquirer, const struct request *request,
             struct acquisition *acquisition, struct trace *trace, struct failure *failure)
{
    struct failure own;
    for (int attempt = 1;; attempt++) {
        failure_clear(&own);
        if (instrument_acquire(acquirer->instrument, request, acquirer->deadline, acquisition,
                               trace, &own))
            return recheck(acquirer->chain, &request->setup, acquisition, failure);
        if (attempt == ATTEMPTS || !worth_another(own.code) || deadline_passed(acquirer->deadline))
            break;
    }
    if (failure)
        *failure = own;
    return false;
}
