/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "glance.h"

#include "acquire.h"
#include "core/range/plan.h"
#include "daemon/bench/point_chain.h"
#include "leads.h"

#include <math.h>

/* A range is left for a lower one when it is used to less than this share. */
static const double little = 0.05;

/* Counts by which a reading may differ from the one before although nothing moved: own choice. */
static const double restless_counts = 3;

/* One glance under way. */
struct look {
    struct acquirer acquirer;
    struct chain chain;
    struct probe leads;
    struct request request;
    struct acquisition seen;
};

static bool begin(struct look *look, struct instrument *instrument, const struct bench *bench,
                  const struct bench_point *point, const struct lead_zero *zero,
                  struct deadline deadline, const struct courtesy *courtesy,
                  struct failure *failure)
{
    if (!point_chain(bench, point, &look->chain, failure))
        return false;
    leads_take(bench, point, zero, &look->chain, &look->leads);
    look->acquirer = (struct acquirer) { instrument, &look->chain, deadline, courtesy };
    look->request = (struct request) { .quantity = point->at_input,
                                       .input = point->input,
                                       .duration = bench_record(point) };
    return true;
}

/* The setup that a measurement of the point would begin with. */
static bool first_setup(const struct bench *bench, const struct bench_point *point,
                        const struct look *look, struct setup *setup, struct failure *failure)
{
    struct plan plan;
    struct signal expected;
    bool expects = point_expected(bench, point, &look->chain, &expected);
    plan_start(&plan, &look->chain, expects ? &expected : NULL);
    return plan_next(&plan, setup, failure) == PLAN_ACQUIRE;
}

/* Acquires in wider and wider ranges. What has no value is no failure here. */
static bool acquire_wide(struct look *look, bool *none, struct failure *failure)
{
    const struct front_end *input = look->chain.input;
    struct failure own = { 0 };
    for (;;) {
        *none = false;
        if (!acquire(&look->acquirer, &look->request, &look->seen, NULL, &own)) {
            *none = own.code == FAILURE_NO_VALUE;
            if (!*none)
                *failure = own;
            return *none;
        }
        size_t range = look->request.setup.range;
        if (!look->seen.overload || range + 1 >= input->count)
            return true;
        look->request.setup = input->vertical ? setup_centred(input, range + 1, 0)
                                              : (struct setup) { .range = range + 1 };
    }
}

/* The step of the value in the range it was seen in; a scope's zero trace is not looked for. */
static double step_of(const struct look *look)
{
    const struct range *range = &look->chain.input->ranges[look->request.setup.range];
    double baseline = look->chain.input->vertical
                          ? look->chain.input->baseline_divisions * range->volts_per_division / 3
                          : 0;
    return (restless_counts * range->resolution / 3 + baseline) * fabs(look->chain.probe->factor);
}

/* A meter shows the alternating content of a voltage in another function. */
static bool look_for_hum(struct look *look, const struct bench *bench,
                         const struct bench_point *point, struct glance_ranges *ranges,
                         struct glance *seen, struct failure *failure)
{
    const struct profile *profile = bench->instruments[point->instrument].profile;
    const struct front_end *input = profile_front_end(profile, QUANTITY_AC_VOLTAGE);
    bool none;
    if (point->at_input != QUANTITY_DC_VOLTAGE || input == NULL || look->chain.input->vertical)
        return true;
    look->chain.input = input;
    look->chain.aspect = ASPECT_AC;
    look->request.quantity = QUANTITY_AC_VOLTAGE;
    size_t range = ranges->alternating_known ? ranges->alternating : 0;
    look->request.setup = (struct setup) { .range = range };
    if (!acquire_wide(look, &none, failure))
        return false;
    if (none || look->seen.overload)
        return true;
    range = look->request.setup.range;
    const struct range *used = &input->ranges[range];
    seen->spread = fabs(look->seen.signal.value * look->chain.probe->factor);
    seen->spread_step = restless_counts * used->resolution * fabs(look->chain.probe->factor);
    bool lower = range > 0 && look->seen.signal.value < little * used->full_scale;
    ranges->alternating = lower ? range - 1 : range;
    ranges->alternating_known = true;
    return true;
}

bool glance(struct instrument *instrument, const struct bench *bench,
            const struct bench_point *point, const struct lead_zero *zero, bool wants_spread,
            struct deadline deadline, const struct courtesy *courtesy, struct glance_ranges *ranges,
            struct glance *seen, struct failure *failure)
{
    struct look look;
    struct setup home;
    bool none;
    if (!begin(&look, instrument, bench, point, zero, deadline, courtesy, failure) ||
        !first_setup(bench, point, &look, &home, failure))
        return false;
    look.request.setup = ranges->known ? ranges->setup : home;
    if (!acquire_wide(&look, &none, failure))
        return false;
    const struct setup used = look.request.setup;
    *seen = (struct glance) {
        .overload = !none && look.seen.overload, .value = NAN, .step = step_of(&look), .spread = NAN
    };
    *ranges = (struct glance_ranges) { .known = true,
                                       .setup = used,
                                       .alternating = ranges->alternating,
                                       .alternating_known = ranges->alternating_known };
    if (none || look.seen.overload)
        return true;
    const struct signal *signal = &look.seen.signal;
    double low, high;
    seen->value = chain_value(&look.chain, &used, signal->value);
    if (look.chain.input->vertical) {
        seen->spread = (signal->high - signal->low) * fabs(look.chain.probe->factor);
        seen->spread_step = seen->step;
    }
    setup_window(look.chain.input, &home, &low, &high);
    double margin = little * (high - low);
    if (signal->low > low + margin && signal->high < high - margin)
        ranges->setup = home;
    return !wants_spread || look_for_hum(&look, bench, point, ranges, seen, failure);
}
