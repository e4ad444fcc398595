/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Comparing a reading with its limits. Verdicts and zones are those of
 * ILAC-G8:09/2019 4.2: with a guard band w around each tolerance limit TL,
 * the acceptance limit is TL - w. How wide w is, the decision says.
 *
 * Tie rule (the guide names a value exactly on a zone edge twice): a value on
 * TL - w is a conditional pass, on TL a conditional pass, on TL + w a
 * conditional fail; with simple acceptance a value on TL passes.
 */
#ifndef GRADUS_CORE_LIMITS_H
#define GRADUS_CORE_LIMITS_H

#include "expand.h"
#include "relative.h"

#include <stdbool.h>

enum verdict {
    VERDICT_NONE, /* no limit, or no reading */
    VERDICT_PASS,
    VERDICT_CONDITIONAL_PASS,
    VERDICT_CONDITIONAL_FAIL,
    VERDICT_FAIL
};
enum { VERDICT_COUNT = VERDICT_FAIL + 1 };

enum decision {
    DECISION_GUARDED, /* guard band w = guard * U, four verdicts */
    DECISION_SIMPLE,  /* simple acceptance, pass or fail */
    DECISION_RISK     /* w for a wanted specific risk at the limit, four verdicts */
};

/*
 * Limits of what is judged: the value at the tip in its unit, or its difference
 * to or ratio over a reference. -INFINITY or INFINITY where there is none on
 * that side.
 */
struct limits {
    double low;
    double high;
    enum decision decision;
    double guard;       /* DECISION_GUARDED: guard band in expanded uncertainties, >= 0 */
    double risk;        /* DECISION_RISK: of accepting what lies on the limit, 0 to 0.5 */
    double least_ratio; /* below this test uncertainty ratio only a clear fail is said; 0: never */
    enum judged judged;
    double reference;             /* stated; NAN: it is another reading */
    double reference_uncertainty; /* of it, expanded with k = 2 */
    double correlation;           /* of the instrument's errors in reading and reference, 0 to 1 */
};

/* What a judgement comes to. */
struct judgement {
    enum verdict verdict;
    double guard_band;  /* that was kept; NAN without limits */
    double probability; /* of conforming (core/uncertainty/conformity.h); NAN without limits */
    double ratio;       /* test uncertainty ratio; NAN with one limit or none */
    bool refused;       /* the ratio is below least_ratio: the verdict is none or a clear fail */
};

/* No limit on either side; guarded with w = U, least ratio 1, the value judged. */
struct limits limits_none(void);

/* As limits_none(), with limits. */
struct limits limits_between(double low, double high);

/* Whether there is a limit on at least one side. */
bool limits_present(const struct limits *limits);

/*
 * The guard band that belongs to the decision, >= 0, in the unit of the
 * limits. NAN when the uncertainty is not finite.
 *
 * budget  what `expanded` was made of
 */
double limits_guard_band(const struct limits *limits, const struct expanded *expanded,
                         const struct budget *budget);

/*
 * The zone of a value with guard band w >= 0, both in the unit of the
 * limits. With two limits the verdict is the worse of the two. VERDICT_NONE
 * when there is no limit, or when value or w is not finite.
 */
enum verdict limits_judge(const struct limits *limits, double value, double guard_band);

/*
 * Judges a value with its uncertainty by the rule of the limits. Below
 * least_ratio no value says anything about conforming, so the verdict is none;
 * but a value beyond TL + w still fails.
 */
struct judgement limits_decide(const struct limits *limits, double value,
                               const struct expanded *expanded, const struct budget *budget);

/* "none", "pass", "conditional pass", "conditional fail", "fail". */
const char *verdict_name(enum verdict verdict);

/* The worse of two; none is no worse than any. */
enum verdict verdict_worse(enum verdict a, enum verdict b);

/* The verdict of that exact name; false when there is none. */
bool verdict_from_name(const char *name, enum verdict *verdict);

/* "guarded", "simple" or "risk". */
const char *decision_name(enum decision decision);

#endif
