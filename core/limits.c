/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "limits.h"

#include <math.h>
#include <string.h>

static const char *const verdict_names[] = {
    [VERDICT_NONE] = "none",
    [VERDICT_PASS] = "pass",
    [VERDICT_CONDITIONAL_PASS] = "conditional pass",
    [VERDICT_CONDITIONAL_FAIL] = "conditional fail",
    [VERDICT_FAIL] = "fail",
};

enum { VERDICT_COUNT = sizeof(verdict_names) / sizeof(verdict_names[0]) };

struct limits limits_none(void)
{
    return (struct limits) { .low = -INFINITY, .high = INFINITY, .decision = DECISION_GUARDED };
}

bool limits_present(const struct limits *limits)
{
    return limits->low > -INFINITY || limits->high < INFINITY;
}

/* ILAC-G8:09/2019 4.2.3 with w = U, for an upper limit. */
static enum verdict judge_guarded(double limit, double value, double uncertainty)
{
    if (value < limit - uncertainty) {
        return VERDICT_PASS;
    }
    if (value <= limit) {
        return VERDICT_CONDITIONAL_PASS;
    }
    if (value <= limit + uncertainty) {
        return VERDICT_CONDITIONAL_FAIL;
    }
    return VERDICT_FAIL;
}

/* ILAC-G8:09/2019 4.2.1, for an upper limit. */
static enum verdict judge_simple(double limit, double value)
{
    return value <= limit ? VERDICT_PASS : VERDICT_FAIL;
}

static enum verdict judge_side(enum decision decision, double limit, double value,
                               double uncertainty)
{
    return decision == DECISION_SIMPLE ? judge_simple(limit, value)
                                       : judge_guarded(limit, value, uncertainty);
}

enum verdict limits_judge(const struct limits *limits, double value, double uncertainty)
{
    bool judgeable = isfinite(value) && isfinite(uncertainty) && uncertainty >= 0.0 &&
                     !isnan(limits->low) && !isnan(limits->high);
    if (!judgeable || !limits_present(limits)) {
        return VERDICT_NONE;
    }
    /* A lower limit is the mirror image of an upper one. */
    enum verdict high = judge_side(limits->decision, limits->high, value, uncertainty);
    enum verdict low = judge_side(limits->decision, -limits->low, -value, uncertainty);
    return high > low ? high : low;
}

const char *verdict_name(enum verdict verdict)
{
    if ((unsigned int)verdict >= (unsigned int)VERDICT_COUNT) {
        return verdict_names[VERDICT_NONE];
    }
    return verdict_names[verdict];
}

bool verdict_from_name(const char *name, enum verdict *verdict)
{
    for (int i = 0; i < VERDICT_COUNT; i++) {
        if (strcmp(verdict_names[i], name) == 0) {
            *verdict = (enum verdict)i;
            return true;
        }
    }
    return false;
}

const char *decision_name(enum decision decision)
{
    return decision == DECISION_SIMPLE ? "simple" : "guarded";
}
