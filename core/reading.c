/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reading.h"

#include "core/uncertainty/expand.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void reading_fail(struct reading *reading, const struct failure *failure)
{
    reading->failure = *failure;
    reading->value = NAN;
    reading->raw = NAN;
    reading->expanded = (struct expanded) { NAN, NAN, NAN, NAN, COVERAGE_NORMAL };
    reading->compared = false;
    reading->judgement = (struct judgement) { VERDICT_NONE, NAN, NAN, NAN, false };
}

/* Judges, and says so when the uncertainty leaves nothing to judge. */
static void judge(struct reading *reading, const struct limits *limits, double value,
                  const struct expanded *expanded, const struct budget *budget)
{
    reading->judgement = limits_decide(limits, value, expanded, budget);
    if (reading->judgement.refused)
        reading_warn(reading,
                     "the tolerance is %.2g times the uncertainty, less than the %.2g that a "
                     "verdict needs%s",
                     reading->judgement.ratio, limits->least_ratio,
                     reading->judgement.verdict == VERDICT_FAIL ? ", but this one is clear" : "");
}

/*
 * The mean of the repeated readings, and its own uncertainty in the budget
 * (JCGM 100 4.2) when there is more than one. False when one is not finite.
 */
static bool average(const struct chain *chain, const struct setup *setup, const double *repeats,
                    size_t n, double *mean, struct budget *budget)
{
    for (size_t i = 0; i < n; i++)
        if (!isfinite(repeats[i]))
            return false;
    *mean = repeats[0];
    double standard;
    if (n < 2 || !type_a(repeats, n, mean, &standard))
        return n == 1;
    double scale = chain_value(chain, setup, 1) - chain_value(chain, setup, 0);
    return budget_add(budget, "repeatability", SHAPE_NORMAL, standard, fabs(scale),
                      (double)(n - 1));
}

bool reading_evaluate(struct reading *reading, const struct chain *chain, const struct setup *setup,
                      const struct signal *signal, const double *repeats, size_t n,
                      const struct limits *limits, struct failure *failure)
{
    struct signal averaged = *signal;
    struct budget repeatability = { 0 };
    if (!average(chain, setup, repeats, n, &averaged.value, &repeatability))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "finite readings",
                           "a reading that is no number");
    struct budget budget;
    chain_budget(chain, setup, &averaged, &budget);
    for (size_t i = 0; i < repeatability.count; i++)
        budget_add(&budget, repeatability.terms[i].source, repeatability.terms[i].shape,
                   repeatability.terms[i].standard, repeatability.terms[i].sensitivity,
                   repeatability.terms[i].freedom);
    return reading_conclude(reading, chain, setup, averaged.value,
                            chain_value(chain, setup, averaged.value), &budget, n, limits, failure);
}

bool reading_conclude(struct reading *reading, const struct chain *chain, const struct setup *setup,
                      double raw, double value, const struct budget *budget, size_t n,
                      const struct limits *limits, struct failure *failure)
{
    struct expanded expanded = budget_expand(budget);
    if (!isfinite(value) || !isfinite(expanded.uncertainty))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "a value with a finite uncertainty",
                           "value %g with uncertainty %g", value, expanded.uncertainty);
    failure_clear(&reading->failure);
    reading->value = value;
    reading->budget = *budget;
    reading->expanded = expanded;
    reading->setup = *setup;
    reading->raw = raw;
    reading->repeats = n;
    reading->loading = chain_loading(chain, setup);
    reading->loading_corrected = chain->correct_loading && reading->loading.known;
    reading->compared = false;
    reading->judgement = (struct judgement) { VERDICT_NONE, NAN, NAN, NAN, false };
    if (limits->judged == JUDGED_VALUE)
        judge(reading, limits, value, &expanded, budget);
    return true;
}

bool reading_compare(struct reading *reading, const struct limits *limits,
                     const struct reading *reference, bool one_input, struct failure *failure)
{
    struct budget stated = relative_stated(limits->reference_uncertainty);
    struct evaluated mine = { reading->value, &reading->budget };
    struct evaluated other = { limits->reference, &stated };
    struct shared shared[RELATIVE_SHARED];
    size_t count = 0;
    if (reference)
        other = (struct evaluated) { reference->value, &reference->budget };
    if (reference && one_input)
        count = relative_shared(limits->correlation, mine.value, other.value, shared);
    if (!relative_compare(limits->judged, &mine, &other, shared, count, &reading->comparison))
        return failure_set(failure, FAILURE_NO_VALUE, NULL,
                           "a reference with which a comparison can be made",
                           "no %s of %g and the reference %g", judged_name(limits->judged),
                           mine.value, other.value);
    reading->compared = true;
    reading->reference = other.value;
    judge(reading, limits, reading->comparison.value, &reading->comparison.expanded,
          &reading->comparison.budget);
    return true;
}

bool reading_value(const struct reading *reading, double *value, double *uncertainty)
{
    if (reading->failure.code != FAILURE_NONE || !isfinite(reading->value))
        return false;
    *value = reading->value;
    *uncertainty = reading->expanded.uncertainty;
    return true;
}

void reading_warn(struct reading *reading, const char *format, ...)
{
    if (reading->warning_count == READING_MAX_WARNINGS)
        return;
    char *text = reading->warnings[reading->warning_count++];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof reading->warnings[0], format, arguments);
    va_end(arguments);
}
