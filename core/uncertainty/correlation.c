/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "correlation.h"

#include <math.h>
#include <string.h>

static double signed_width(const struct contribution *term)
{
    return term->standard * term->sensitivity;
}

static const struct shared *shared_of(const struct shared *shared, size_t count, const char *source)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(shared[i].source, source) == 0)
            return &shared[i];
    return NULL;
}

static size_t index_of(const struct budget *budget, const char *source)
{
    size_t i = 0;
    while (i < budget->count && strcmp(budget->terms[i].source, source) != 0)
        i++;
    return i;
}

static bool add(struct budget *to, const struct contribution *term, double factor)
{
    return budget_add(to, term->source, term->shape, term->standard, term->sensitivity * factor,
                      term->freedom);
}

/* The pair as (a + r b) and what of b is left; widths carry their signs. */
static bool merge(struct budget *to, const struct contribution *first, double x,
                  const struct contribution *second, double y, const struct shared *shared)
{
    double a = x * signed_width(first);
    double b = y * signed_width(second);
    double r = shared->coefficient;
    if (shared->adverse)
        r = copysign(fabs(r), a * b);
    bool alike = first->shape == second->shape && first->freedom == second->freedom;
    if (!alike) {
        /* Of two laws no one part can be made: linear where that is more, else apart. */
        double grown = a * b * r > 0.0 ? 1.0 + fabs(b / a) : 1.0;
        return add(to, first, x * grown) && (grown > 1.0 || add(to, second, y));
    }
    return budget_add(to, first->source, first->shape, fabs(a + r * b), 1.0, first->freedom) &&
           budget_add(to, second->source, second->shape, fabs(b) * sqrt(1.0 - r * r), 1.0,
                      second->freedom);
}

bool budget_combine(const struct budget *first, double x, const struct budget *second, double y,
                    const struct shared *shared, size_t count, struct budget *combined)
{
    bool taken[BUDGET_MAX_TERMS] = { false };
    bool good = true;
    combined->count = 0;
    combined->lacking = first->lacking || second->lacking;
    for (size_t i = 0; i < count; i++)
        good = good && fabs(shared[i].coefficient) <= 1.0;
    for (size_t i = 0; good && i < first->count; i++) {
        const struct contribution *term = &first->terms[i];
        const struct shared *common = shared_of(shared, count, term->source);
        size_t other = common != NULL ? index_of(second, term->source) : second->count;
        if (other == second->count || taken[other]) {
            good = add(combined, term, x);
            continue;
        }
        taken[other] = true;
        good = merge(combined, term, x, &second->terms[other], y, common);
    }
    for (size_t i = 0; good && i < second->count; i++)
        good = taken[i] || add(combined, &second->terms[i], y);
    return good;
}
