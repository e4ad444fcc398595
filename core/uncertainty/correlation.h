/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Contributions that are not independent, after JCGM 100:2008 5.2, (13) and
 * (16): two readings that share some of their sources, in a difference or a
 * ratio.
 */
#ifndef GRADUS_CORE_CORRELATION_H
#define GRADUS_CORE_CORRELATION_H

#include "budget.h"

/* A source that two budgets have in common. */
struct shared {
    const char *source;
    double coefficient; /* between its errors in the one and in the other, -1 to 1 */
    bool adverse;       /* the coefficient's sign is not known: take the one that is worse */
};

/*
 * The budget of f = x * a + y * b, where a and b are readings with budgets of
 * their own and x, y the derivatives of f. For each source in `shared` that
 * both have, b's error is split into the part that follows a's and one that
 * does not: (x a + y b r) and y b sqrt(1 - r^2), which gives (16) and leaves a
 * budget of independent terms that can be expanded as any other. Of a source
 * that a budget has twice the first is taken. Two terms of different shape or
 * freedom are not merged but added in the worse way, as if r were 0 or 1.
 *
 * Returns false when a coefficient is out of bounds or there are too many terms.
 */
bool budget_combine(const struct budget *first, double x, const struct budget *second, double y,
                    const struct shared *shared, size_t count, struct budget *combined);

#endif
