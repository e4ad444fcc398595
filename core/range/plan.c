/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plan.h"

#include <math.h>
#include <string.h>

/* After an overload that nobody expected, the signal may be this much larger. */
static const double surprise_growth = 1.5;

/* A barred range is tried again when the signal reaches less than this share of what it did. */
static const double unbar_share = 0.8;

/* Windows at the top overlap by this share when the trace is moved on to look further. */
static const double explore_overlap = 0.05;

/*
 * A signal that was known to reach no further than this share of a window and
 * overloads it all the same has moved; one that reached further may be noisy.
 */
static const double calm_share = 0.5;

/*
 * So much of what is known of either extreme is noise, in sigma: three that are in its error, two of
 * the three or more that white noise reaches in a record. The one left over is for the middle.
 */
static const double noise_reach = 5;

/* Noise that is no more than so many times smaller in steps of another range is of its range. */
static const double same_steps = 1.5;

/* So many acquisitions, the most that a steady signal takes, are made for any gain. */
static const size_t eager_steps = 5;

static const struct span everything = { -INFINITY, INFINITY };

static bool span_known(const struct span *span)
{
    return isfinite(span->low) && isfinite(span->high);
}

/* The extremes of the latest reading, as seen through a coupling. */
static struct span as_seen(const struct plan *plan, enum coupling coupling)
{
    const struct signal *signal = &plan->signal;
    double blocked = coupling == COUPLING_AC ? signal->mean : 0;
    struct span span = { signal->low - blocked, signal->high - blocked };
    return span;
}

/* How far the signal, as last seen, reaches from the middle of what a setup shows. */
static double reach(const struct plan *plan, const struct setup *setup)
{
    struct span span = as_seen(plan, setup->coupling);
    double low, high;
    setup_window(plan->chain.input, setup, &low, &high);
    double centre = (low + high) / 2;
    return fmax(fabs(span.low - centre), fabs(span.high - centre));
}

/* What a meter shows of the signal, without its sign. */
static double size_of(const struct signal *signal)
{
    return fmax(fabs(signal->low), fabs(signal->high));
}

/* Whether an earlier plan saw a signal of this size overload a meter's range. */
static bool was_beyond(const struct plan *plan, const struct setup *setup)
{
    size_t above = setup->range + 1;
    if (!(plan->beyond > 0) || plan->steps[0].setup.range != above)
        return false;
    double count = plan->chain.input->ranges[above].resolution;
    return size_of(&plan->signal) > plan->beyond - count;
}

/* Whether history does not speak against a setup. */
static bool allows(const struct plan *plan, const struct setup *setup)
{
    if (was_beyond(plan, setup))
        return false;
    return reach(plan, setup) <= unbar_share * plan->barred[setup->coupling][setup->range];
}

/*
 * The setup with the smallest uncertainty of all that hold the extremes, and
 * that `plan` (or NULL) does not rule out. False when none does.
 */
static bool plan_best(const struct chain *chain, const struct signal *signal,
                      const struct extremes *extremes, const struct plan *plan,
                      struct weighed *best)
{
    struct weighed all[SETUPS_MOST];
    size_t n = setups_weigh(chain, signal, extremes, all, sizeof all / sizeof all[0]);
    bool found = false;
    for (size_t i = 0; i < n; i++) {
        if (!all[i].fits || (plan && !allows(plan, &all[i].setup)))
            continue;
        if (!found || weighed_beats(&all[i], best))
            *best = all[i];
        found = true;
    }
    return found;
}

static void begin(struct plan *plan, const struct chain *chain)
{
    memset(plan, 0, sizeof *plan);
    plan->chain = *chain;
    plan->known = (struct extremes) { everything, everything, true, 0 };
    plan->explored = (struct span) { INFINITY, -INFINITY };
    plan->action = PLAN_ACQUIRE;
    for (size_t i = 0; i < CHAIN_MAX_RANGES; i++)
        plan->barred[COUPLING_DC][i] = plan->barred[COUPLING_AC][i] = INFINITY;
}

static struct setup widest(const struct front_end *input, enum coupling coupling)
{
    struct setup setup = { input->count - 1, coupling, 0, 0 };
    return setup;
}

void plan_start(struct plan *plan, const struct chain *chain, const struct signal *expected)
{
    begin(plan, chain);
    plan->next = widest(chain->input, COUPLING_DC);
    if (!expected)
        return;
    struct extremes extremes = {
        { expected->low, expected->high },
        { expected->low - expected->mean, expected->high - expected->mean },
        false,
        0,
    };
    struct weighed best;
    if (plan_best(chain, expected, &extremes, NULL, &best))
        plan->next = best.setup;
}

void plan_resume(struct plan *plan, const struct chain *chain, const struct setup *setup,
                 double beyond)
{
    begin(plan, chain);
    plan->next = *setup;
    plan->beyond = beyond;
}

enum plan_action plan_next(struct plan *plan, struct setup *setup, struct failure *failure)
{
    if (plan->action == PLAN_ACQUIRE && plan->step_count == PLAN_MAX_STEPS) {
        plan->action = PLAN_FAILED;
        plan->failed = FAILURE_UNSTABLE;
    }
    if (plan->action == PLAN_ACQUIRE) {
        struct plan_step step = { plan->next, STEP_PENDING, NAN };
        plan->steps[plan->step_count++] = step;
        *setup = plan->next;
    }
    if (plan->action == PLAN_FAILED && plan->failed == FAILURE_UNSTABLE)
        failure_set(failure, FAILURE_UNSTABLE, NULL, "a signal that stays within one range",
                    "not settled after %zu acquisitions", plan->step_count);
    else if (plan->action == PLAN_FAILED)
        failure_set(failure, plan->failed, NULL, NULL,
                    "the input is beyond what the widest setting can show");
    return plan->action;
}

static void fail(struct plan *plan, enum failure_code code)
{
    plan->action = PLAN_FAILED;
    plan->failed = code;
}

/* Counts an acquisition that only a moving signal explains. */
static void moved(struct plan *plan)
{
    plan->unconfirmed = true;
    if (++plan->moves >= PLAN_MAX_MOVES)
        fail(plan, FAILURE_UNSTABLE);
}

/*
 * Moves the trace at the top range so that its window follows on from those
 * that overloaded, on the side the signal ran over. False when it cannot be
 * moved any further.
 */
static bool look_further(struct plan *plan, enum side side)
{
    const struct front_end *input = plan->chain.input;
    const struct range *top = &input->ranges[input->count - 1];
    double overlap = explore_overlap * (top->high - top->low);
    double centre;
    if (side == SIDE_HIGH)
        centre = plan->explored.high - overlap - top->low;
    else
        centre = plan->explored.low + overlap - top->high;
    struct setup setup = setup_centred(input, input->count - 1, centre);
    double low, high;
    setup_window(input, &setup, &low, &high);
    plan->next = setup;
    return side == SIDE_HIGH ? high > plan->explored.high + overlap
                             : low < plan->explored.low - overlap;
}

/* Nothing is known about one end of the signal: look with the widest setting. */
static void explore(struct plan *plan, const struct setup *last, enum side side)
{
    const struct front_end *input = plan->chain.input;
    bool at_top = last->range == input->count - 1 && last->coupling == COUPLING_DC;
    if (last->coupling == COUPLING_AC && last->range == input->count - 1) {
        fail(plan, FAILURE_OVER_RANGE);
        return;
    }
    if (!at_top) {
        plan->next = widest(input, last->coupling);
        return;
    }
    double low, high;
    setup_window(input, last, &low, &high);
    bool turned = (side == SIDE_HIGH && low < plan->explored.low) ||
                  (side == SIDE_LOW && high > plan->explored.high);
    bool first = plan->explored.low > plan->explored.high;
    plan->explored.low = fmin(plan->explored.low, low);
    plan->explored.high = fmax(plan->explored.high, high);
    if (aspect_ignores_mean(plan->chain.aspect) && input->ac_coupling && !plan->chain.keeps_level)
        plan->next = widest(input, COUPLING_AC);
    else if (side == SIDE_UNKNOWN || (turned && !first) || !look_further(plan, side))
        fail(plan, FAILURE_OVER_RANGE);
}

/* The current step, or NULL when none is waiting for its outcome. */
static struct plan_step *pending(struct plan *plan)
{
    if (plan->action != PLAN_ACQUIRE || plan->step_count == 0)
        return NULL;
    struct plan_step *step = &plan->steps[plan->step_count - 1];
    return step->outcome == STEP_PENDING ? step : NULL;
}

/*
 * What the signal may be after its extreme ran over one end of the window.
 * Where it was thought to be inside, it is now thought to be a little
 * outside; where that was wrong too, nothing is known of it any more.
 */
static void stretch(struct plan *plan, struct span *known, const struct setup *setup,
                    enum side side)
{
    double low, high;
    setup_window(plan->chain.input, setup, &low, &high);
    double centre = (low + high) / 2;
    bool contradicted = false;
    if (side != SIDE_LOW && known->high <= high) {
        contradicted = true;
        known->high = plan->surprised ? INFINITY : centre + (high - centre) * surprise_growth;
    }
    if (side != SIDE_HIGH && known->low >= low) {
        contradicted = true;
        known->low = plan->surprised ? -INFINITY : centre + (low - centre) * surprise_growth;
    }
    plan->surprised = contradicted;
}

void plan_overload(struct plan *plan, enum side side)
{
    struct plan_step *step = pending(plan);
    if (!step)
        return;
    step->outcome = STEP_OVERLOAD;
    const struct setup setup = step->setup;
    struct span *known = setup.coupling == COUPLING_AC ? &plan->known.swing : &plan->known.total;
    if (plan->have_signal) {
        double *barred = &plan->barred[setup.coupling][setup.range];
        double far = reach(plan, &setup);
        *barred = fmin(*barred, far);
        if (!plan->chain.input->vertical)
            far = fmax(fabs(known->low), fabs(known->high));
        if (far < calm_share * plan->chain.input->ranges[setup.range].high)
            moved(plan);
    } else if (!plan->chain.input->vertical) {
        /* The signal reached its end at least: it is not tried a second time for the last bit. */
        plan->barred[setup.coupling][setup.range] = plan->chain.input->ranges[setup.range].high;
    }
    stretch(plan, known, &setup, side);
    plan->known.noise = 0;
    struct weighed best;
    if (plan->action == PLAN_FAILED)
        return;
    if (span_known(known) && plan->have_signal &&
        plan_best(&plan->chain, &plan->signal, &plan->known, plan, &best))
        plan->next = best.setup;
    else
        explore(plan, &setup, side);
}

/*
 * Whether the extremes just seen lie so far outside what was known of them
 * that the signal must have moved: by a good part of the present window, which
 * noise that is small enough to be measured here never does.
 */
static bool contradicts(const struct plan *plan, const struct setup *setup,
                        const struct signal *signal)
{
    const struct span *known =
        setup->coupling == COUPLING_AC ? &plan->known.swing : &plan->known.total;
    double far = calm_share * plan->chain.input->ranges[setup->range].high;
    return signal->low > known->high + far || signal->high < known->low - far;
}

/*
 * Whether what is seen now, on a finer range than what was seen before, shows that the noise of
 * both is the instrument's own: the same in steps. It then is so in what was seen here, too.
 */
static bool noise_is_its_ranges(const struct plan *plan, const struct setup *setup,
                                const struct signal *signal)
{
    double share = plan->chain.input->ranges[setup->range].resolution / plan->signal.resolution;
    return plan->have_signal && share < 1 &&
           signal->noise < same_steps * share * plan->signal.noise;
}

/* Narrows what is known to the extremes just seen, give or take their error. */
static void learn(struct plan *plan, const struct setup *setup, const struct signal *signal)
{
    double low = chain_error_limit(&plan->chain, setup, signal, signal->low);
    double high = chain_error_limit(&plan->chain, setup, signal, signal->high);
    if (setup->coupling == COUPLING_AC) {
        plan->known.swing = (struct span) { signal->low - low, signal->high + high };
    } else {
        const struct range *range = &plan->chain.input->ranges[setup->range];
        double level = plan->chain.input->baseline_divisions * range->volts_per_division +
                       fabs(setup->offset) * plan->chain.input->offset_fraction;
        plan->known.total = (struct span) { signal->low - low, signal->high + high };
        plan->known.swing = (struct span) { signal->low - signal->mean - (low - level),
                                            signal->high - signal->mean + (high - level) };
    }
    bool own = noise_is_its_ranges(plan, setup, signal);
    plan->known.noise = own ? noise_reach * signal->noise : 0;
    plan->signal = *signal;
    plan->signal.resolution = plan->chain.input->ranges[setup->range].resolution;
    plan->have_signal = true;
    plan->surprised = false;
    plan->explored = (struct span) { INFINITY, -INFINITY };
}

/*
 * Whether a change is worth an acquisition. After the first few, each must
 * promise twice as much as the one before: two settings whose errors differ
 * may each make the other look better, and would be tried in turn for ever.
 */
static bool worth(const struct plan *plan, const struct weighed *candidate, double standard)
{
    double share = PLAN_WORTH;
    for (size_t i = eager_steps; i < plan->step_count; i++)
        share *= 2;
    return candidate->standard < (1 - share) * standard;
}

/*
 * A meter's next lower range, if it may show the signal: the errors of both
 * ranges are taken for what suits it. Where they are large beside that range
 * no reading can promise that it will do, and only trying tells.
 */
static bool next_lower(const struct plan *plan, const struct setup *present, struct weighed *best)
{
    const struct chain *chain = &plan->chain;
    double size = size_of(&plan->signal);
    if (present->range == 0)
        return false;
    struct setup lower = { present->range - 1, COUPLING_DC, 0, 0 };
    double least = size - chain_error_limit(chain, present, &plan->signal, size) -
                   chain_error_limit(chain, &lower, &plan->signal, size);
    struct extremes extremes = { { least, least }, { 0, 0 }, false, 0 };
    struct weighed all[CHAIN_MAX_RANGES];
    setups_weigh(chain, &plan->signal, &extremes, all, CHAIN_MAX_RANGES);
    *best = all[lower.range];
    return best->fits && allows(plan, &lower);
}

/*
 * The next setup, if one is better than the present one. First among those
 * that surely hold the signal; then on a scope among those that hold it as
 * seen, on a meter the next lower range: trying costs an acquisition, not
 * trying would leave half a screen unused for the sake of the gain tolerance.
 */
static bool better(const struct plan *plan, const struct setup *present, struct weighed *best)
{
    const struct signal *signal = &plan->signal;
    double standard = chain_uncertainty(&plan->chain, present, signal);
    if (plan_best(&plan->chain, signal, &plan->known, plan, best) && worth(plan, best, standard))
        return true;
    if (!plan->chain.input->vertical)
        return next_lower(plan, present, best) && worth(plan, best, standard);
    struct extremes seen = { as_seen(plan, COUPLING_DC), as_seen(plan, COUPLING_AC), false, 0 };
    if (present->coupling == COUPLING_AC)
        seen.total = plan->known.total;
    return plan_best(&plan->chain, signal, &seen, plan, best) && worth(plan, best, standard);
}

/* Keeps for the next plan at what size of the signal a meter's next lower range overloads. */
static void remember(struct plan *plan, const struct setup *settled)
{
    if (settled->range != plan->steps[0].setup.range)
        plan->beyond = 0;
    if (!plan->chain.input->vertical && settled->range > 0 &&
        isfinite(plan->barred[COUPLING_DC][settled->range - 1]))
        plan->beyond = size_of(&plan->signal);
}

void plan_reading(struct plan *plan, const struct signal *signal)
{
    struct plan_step *step = pending(plan);
    if (!step)
        return;
    const struct setup setup = step->setup;
    step->value = signal->value;
    if (contradicts(plan, &setup, signal))
        moved(plan);
    if (plan->action == PLAN_FAILED) {
        step->outcome = STEP_MOVED;
        return;
    }
    learn(plan, &setup, signal);
    struct weighed best;
    if (better(plan, &setup, &best)) {
        step->outcome = STEP_POOR_RESOLUTION;
        plan->next = best.setup;
    } else if (plan->unconfirmed) {
        step->outcome = STEP_TO_CONFIRM;
        plan->unconfirmed = false;
        plan->next = setup;
    } else {
        step->outcome = STEP_SETTLED;
        plan->action = PLAN_SETTLED;
        remember(plan, &setup);
    }
}

const char *step_outcome_name(enum step_outcome outcome)
{
    static const char *const names[] = { "pending",  "settled", "poor resolution",
                                         "overload", "moved",   "to be confirmed" };
    return names[outcome];
}
