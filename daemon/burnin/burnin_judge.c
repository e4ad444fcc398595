/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_judge.h"

#include <math.h>

struct burnin_state burnin_state_new(void)
{
    return (struct burnin_state) { .first = NAN, .last = NAN, .margin = NAN, .worst = NAN };
}

double burnin_margin(const struct limits *limits, double value)
{
    bool low = isfinite(limits->low);
    bool high = isfinite(limits->high);
    if (low && high)
        return fmin(value - limits->low, limits->high - value) / ((limits->high - limits->low) / 2);
    if (!low && !high)
        return NAN;
    double limit = low ? limits->low : limits->high;
    double room = low ? value - limit : limit - value;
    return room / (limit != 0 ? fabs(limit) : 1);
}

bool burnin_is_dead(const struct limits *limits, double value)
{
    const double nothing = 0.01;
    double least = fmax(fmax(limits->low, -limits->high), 0);
    return limits->judged == JUDGED_VALUE && isfinite(least) && fabs(value) < nothing * least;
}

/* How far it may move from a reference; NAN: as far as it likes. */
static double drift_bound(const struct bench_drift *drift, double reference)
{
    return fmax(drift->bound, drift->relative * fabs(reference));
}

static double reference_of(const struct burnin_state *state, const struct bench_drift *drift)
{
    return isnan(drift->reference) ? state->first : drift->reference;
}

bool burnin_drift_band(const struct burnin_state *state, const struct bench_drift *drift,
                       double *reference, double *bound)
{
    *reference = reference_of(state, drift);
    *bound = drift_bound(drift, *reference);
    return isfinite(*bound) && isfinite(*reference);
}

/* What is left of the way it may move, 1 while it has not moved; NAN: there is no bound. */
static double drift_margin(const struct burnin_state *state, const struct burnin_demands *demands,
                           double value)
{
    double reference, bound;
    if (!burnin_drift_band(state, &demands->drift, &reference, &bound))
        return NAN;
    double moved = fabs(value - reference);
    if (bound > 0)
        return 1 - moved / bound;
    return moved > 0 ? -1 : 1;
}

/* The verdict on how far it has moved; until the first readings are all there, scatter is unknown. */
static enum verdict drift_verdict(const struct burnin_state *state,
                                  const struct burnin_demands *demands, double value)
{
    double reference, bound;
    if (!burnin_drift_band(state, &demands->drift, &reference, &bound))
        return VERDICT_NONE;
    const struct limits limits = limits_between(reference - bound, reference + bound);
    bool known = state->baseline.count >= 2 && state->baseline.count >= demands->drift.window;
    bool stated = !isnan(demands->drift.reference);
    return limits_judge(&limits, value, known ? baseline_uncertainty(&state->baseline, stated) : 0);
}

/* One of the first readings goes into what later ones are compared with. */
static void note_first(struct burnin_state *state, const struct burnin_demands *demands,
                       double value)
{
    if (state->baseline.count > 0 && state->baseline.count >= demands->drift.window)
        return;
    baseline_add(&state->baseline, value);
    state->first = state->baseline.mean;
}

static void note_margin(struct burnin_state *state, const struct burnin_outcome *outcome,
                        double margin)
{
    state->margin = margin;
    if (outcome->warm_up || isnan(margin) || margin >= state->worst)
        return;
    state->worst = margin;
    state->worst_round = outcome->round;
}

/* A check standard stands still: what moves there is the instrument. */
static enum burnin_cause judge_standard(struct burnin_state *state,
                                        const struct burnin_demands *demands,
                                        const struct burnin_outcome *outcome)
{
    state->chart.window = demands->drift.chart;
    if (demands->drift.chart < 2 ||
        control_chart_add(&state->chart, outcome->value, outcome->step) == CONTROL_WELL)
        return BURNIN_WELL;
    return BURNIN_CONTROL;
}

static enum burnin_cause judge_value(struct burnin_state *state,
                                     const struct burnin_demands *demands,
                                     const struct burnin_outcome *outcome)
{
    bool begins = !outcome->warm_up && isnan(state->first);
    if (begins)
        note_first(state, demands, outcome->value);
    double drift = drift_margin(state, demands, outcome->value);
    state->drift = drift_verdict(state, demands, outcome->value);
    if (!outcome->warm_up)
        state->drift_worst = verdict_worse(state->drift_worst, state->drift);
    note_margin(state, outcome, fmin(burnin_margin(demands->limits, outcome->judged), drift));
    state->last = outcome->value;
    state->dead = burnin_is_dead(demands->limits, outcome->judged);
    state->readings++;
    if (outcome->verdict == VERDICT_FAIL || outcome->verdict == VERDICT_CONDITIONAL_FAIL)
        return BURNIN_LIMIT;
    if (drift < 0)
        return BURNIN_DRIFT;
    if (outcome->warm_up)
        return BURNIN_WELL;
    if (!begins)
        note_first(state, demands, outcome->value);
    return judge_standard(state, demands, outcome);
}

static enum burnin_cause judge(struct burnin_state *state, const struct burnin_demands *demands,
                               const struct burnin_outcome *outcome)
{
    if (outcome->failure == FAILURE_NONE)
        return judge_value(state, demands, outcome);
    state->margin = NAN;
    return outcome->failure == FAILURE_OVER_RANGE ? BURNIN_OVER_RANGE : BURNIN_LOST;
}

/* Counts what goes on in a row; true when that is enough. */
static bool count(struct burnin_state *state, const struct burnin_demands *demands,
                  enum burnin_cause cause)
{
    if (cause == BURNIN_LOST) {
        state->lost++;
        state->lost_in_row++;
        return demands->rules.lost_after > 0 && state->lost_in_row >= demands->rules.lost_after;
    }
    state->lost_in_row = 0;
    if (cause == BURNIN_WELL) {
        state->failed_in_row = 0;
        return false;
    }
    state->failures++;
    state->failed_in_row++;
    return state->failed_in_row >= demands->rules.trip_after;
}

bool burnin_judge(struct burnin_state *state, const struct burnin_demands *demands,
                  const struct burnin_outcome *outcome)
{
    enum burnin_cause cause = judge(state, demands, outcome);
    state->cause = cause;
    if (outcome->warm_up || !count(state, demands, cause) || state->trip != BURNIN_WELL)
        return false;
    state->trip = cause;
    state->trip_round = outcome->round;
    return true;
}

const char *burnin_cause_name(enum burnin_cause cause)
{
    static const char *const names[] = {
        [BURNIN_WELL] = "within limits", [BURNIN_LIMIT] = "limit",
        [BURNIN_DRIFT] = "drift",        [BURNIN_OVER_RANGE] = "over range",
        [BURNIN_LOST] = "not measured",  [BURNIN_CONTROL] = "check standard"
    };
    return names[cause];
}
