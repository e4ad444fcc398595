/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "alias.h"

#include <math.h>
#include <stdbool.h>

double alias_of(double frequency, double rate)
{
    return fabs(remainder(frequency, rate));
}

/* Whether a true frequency, known as well as the first capture tells, would show in the second. */
static bool explains(const struct apparent *first, const struct apparent *second, double frequency)
{
    double shown = alias_of(frequency, second->rate);
    return fabs(shown - second->frequency) <= first->uncertainty + second->uncertainty;
}

/* The i-th frequency that the first capture can stand for, ascending: a, r - a, r + a, 2 r - a ... */
static double image(const struct apparent *apparent, size_t i)
{
    size_t whole = (i + 1) / 2;
    double multiple = (double)whole * apparent->rate;
    return i % 2 == 0 ? multiple + apparent->frequency : multiple - apparent->frequency;
}

size_t alias_candidates(const struct apparent *first, const struct apparent *second, double highest,
                        double *candidates, size_t room)
{
    size_t count = 0;
    double last = -1.0;
    for (size_t i = 0; image(first, i) <= highest; i++) {
        double frequency = image(first, i);
        if (frequency > last && explains(first, second, frequency)) {
            if (count < room)
                candidates[count] = frequency;
            count++;
            last = frequency;
        }
    }
    return count;
}

enum alias_verdict alias_judge(const struct apparent *first, const struct apparent *second,
                               double highest, double *frequency)
{
    double candidate;
    size_t count = alias_candidates(first, second, highest, &candidate, 1);
    if (count != 1)
        return count == 0 ? ALIAS_UNEXPLAINED : ALIAS_AMBIGUOUS;
    *frequency = candidate;
    bool seen = candidate <= first->rate / 2.0 && candidate <= second->rate / 2.0;
    return seen ? ALIAS_NONE : ALIAS_RESOLVED;
}
