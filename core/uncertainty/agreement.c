/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "agreement.h"

#include <math.h>

double agreement_en(const struct side_value *a, const struct side_value *b, double correlation)
{
    if (!isfinite(a->value) || !isfinite(b->value) || !(a->uncertainty >= 0.0) ||
        !(b->uncertainty >= 0.0) || !isfinite(a->uncertainty + b->uncertainty) ||
        !(fabs(correlation) <= 1.0))
        return NAN;
    double difference = a->value - b->value;
    if (difference == 0.0)
        return 0.0;
    /* (Ua - r Ub)^2 + (1 - r^2) Ub^2 is the same and never negative. */
    double together = hypot(a->uncertainty - correlation * b->uncertainty,
                            sqrt((1.0 - correlation) * (1.0 + correlation)) * b->uncertainty);
    return together > 0.0 ? difference / together : copysign(INFINITY, difference);
}

bool agreement_holds(double en)
{
    return fabs(en) <= 1.0;
}
