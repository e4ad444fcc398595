/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Comparing a reading with its limits. Verdicts and zones are those of
 * ILAC-G8:09/2019 4.2: with a guard band w = U around each tolerance limit
 * TL, the acceptance limit is TL - w.
 *
 * Tie rule (the guide names a value exactly on a zone edge twice): a value on
 * TL - w is a conditional pass, on TL a conditional pass, on TL + w a
 * conditional fail; with simple acceptance a value on TL passes (check M20).
 */
#ifndef GRADUS_CORE_LIMITS_H
#define GRADUS_CORE_LIMITS_H

#include <stdbool.h>

enum verdict {
    VERDICT_NONE, /* no limit, or no reading */
    VERDICT_PASS,
    VERDICT_CONDITIONAL_PASS,
    VERDICT_CONDITIONAL_FAIL,
    VERDICT_FAIL
};

enum decision {
    DECISION_GUARDED, /* guard band equal to the expanded uncertainty, four verdicts */
    DECISION_SIMPLE   /* simple acceptance, pass or fail */
};

/* Limits at the tip, tip unit. -INFINITY or INFINITY where there is none on that side. */
struct limits {
    double low;
    double high;
    enum decision decision;
};

/* No limit on either side. */
struct limits limits_none(void);

/* Whether there is a limit on at least one side. */
bool limits_present(const struct limits *limits);

/*
 * Judges a value with expanded uncertainty U >= 0, both in the unit of the
 * limits. With two limits the verdict is the worse of the two. VERDICT_NONE
 * when there is no limit, or when value or U is not finite.
 */
enum verdict limits_judge(const struct limits *limits, double value, double uncertainty);

/* "none", "pass", "conditional pass", "conditional fail", "fail". */
const char *verdict_name(enum verdict verdict);

/* The verdict of that exact name; false when there is none. */
bool verdict_from_name(const char *name, enum verdict *verdict);

/* "guarded" or "simple". */
const char *decision_name(enum decision decision);

#endif
