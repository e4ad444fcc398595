/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "limits.h"

#include "conformity.h"
#include "expand.h"

#include <math.h>
#include <string.h>

static const struct {
    const char *name;
    int severity;
} verdicts[] = {
    [VERDICT_NONE] = { "none", 0 },
    [VERDICT_PASS] = { "pass", 1 },
    [VERDICT_CONDITIONAL_PASS] = { "conditional pass", 2 },
    [VERDICT_CONDITIONAL_FAIL] = { "conditional fail", 3 },
    [VERDICT_FAIL] = { "fail", 4 },
};

struct limits limits_between(double low, double high)
{
    return (struct limits) {
        .low = low,
        .high = high,
        .decision = DECISION_GUARDED,
        .guard = 1.0,
        .risk = NAN,
        .least_ratio = 1.0,
        .judged = JUDGED_VALUE,
        .reference = NAN,
    };
}

struct limits limits_none(void)
{
    return limits_between(-INFINITY, INFINITY);
}

bool limits_present(const struct limits *limits)
{
    return limits->low > -INFINITY || limits->high < INFINITY;
}

/* ILAC-G8:09/2019 4.2.3, for an upper limit. */
static enum verdict judge_guarded(double limit, double value, double guard_band)
{
    if (value < limit - guard_band)
        return VERDICT_PASS;
    if (value <= limit)
        return VERDICT_CONDITIONAL_PASS;
    if (value <= limit + guard_band)
        return VERDICT_CONDITIONAL_FAIL;
    return VERDICT_FAIL;
}

/* ILAC-G8:09/2019 4.2.1, for an upper limit. */
static enum verdict judge_simple(double limit, double value)
{
    return value <= limit ? VERDICT_PASS : VERDICT_FAIL;
}

static enum verdict judge_side(enum decision decision, double limit, double value,
                               double guard_band)
{
    return decision == DECISION_SIMPLE ? judge_simple(limit, value)
                                       : judge_guarded(limit, value, guard_band);
}

double limits_guard_band(const struct limits *limits, const struct expanded *expanded,
                         const struct budget *budget)
{
    switch (limits->decision) {
    case DECISION_SIMPLE:
        return 0.0 * expanded->uncertainty;
    case DECISION_RISK:
        return conformity_guard_band(limits->risk, budget);
    case DECISION_GUARDED:
        break;
    }
    return limits->guard * expanded->uncertainty;
}

enum verdict limits_judge(const struct limits *limits, double value, double guard_band)
{
    bool judgeable = isfinite(value) && isfinite(guard_band) && guard_band >= 0.0 &&
                     !isnan(limits->low) && !isnan(limits->high);
    if (!judgeable || !limits_present(limits))
        return VERDICT_NONE;
    /* A lower limit is the mirror image of an upper one. */
    enum verdict high = judge_side(limits->decision, limits->high, value, guard_band);
    enum verdict low = judge_side(limits->decision, -limits->low, -value, guard_band);
    return verdict_worse(high, low);
}

struct judgement limits_decide(const struct limits *limits, double value,
                               const struct expanded *expanded, const struct budget *budget)
{
    struct judgement judgement = { VERDICT_NONE, NAN, NAN, NAN, false };
    if (!limits_present(limits))
        return judgement;
    judgement.guard_band = limits_guard_band(limits, expanded, budget);
    judgement.verdict = limits_judge(limits, value, judgement.guard_band);
    judgement.probability = conformity_probability(limits->low, limits->high, value, budget);
    judgement.ratio = conformity_ratio(limits->low, limits->high, expanded->uncertainty);
    judgement.refused = judgement.ratio < limits->least_ratio;
    if (judgement.refused && judgement.verdict != VERDICT_FAIL)
        judgement.verdict = VERDICT_NONE;
    return judgement;
}

const char *verdict_name(enum verdict verdict)
{
    if ((unsigned int)verdict >= (unsigned int)VERDICT_COUNT)
        return verdicts[VERDICT_NONE].name;
    return verdicts[verdict].name;
}

enum verdict verdict_worse(enum verdict a, enum verdict b)
{
    return verdicts[a].severity > verdicts[b].severity ? a : b;
}

bool verdict_from_name(const char *name, enum verdict *verdict)
{
    for (int i = 0; i < VERDICT_COUNT; i++) {
        if (strcmp(verdicts[i].name, name) == 0) {
            *verdict = (enum verdict)i;
            return true;
        }
    }
    return false;
}

const char *decision_name(enum decision decision)
{
    switch (decision) {
    case DECISION_SIMPLE:
        return "simple";
    case DECISION_RISK:
        return "risk";
    case DECISION_GUARDED:
        break;
    }
    return "guarded";
}
