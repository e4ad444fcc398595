/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a record itself shows that its extremes are where a converter or an
 * amplifier ended and not where the signal did: the same value again and
 * again, to the last bit, where a signal would have gone on.
 */
#ifndef GRADUS_CORE_FLAT_TOP_H
#define GRADUS_CORE_FLAT_TOP_H

#include <stdbool.h>
#include <stddef.h>

/* Where the ends of a range are, and how sure that is. */
struct ends {
    double low; /* the range's own ends, values of the record */
    double high;
    double slack; /* how far inside of them the converter may already end, >= 0 */
    double step;  /* from one value of the converter to the next, > 0 */
};

/* Which extremes are cut off. */
struct flat_top {
    bool high;
    bool low;
};

/*
 * Looks at both extremes of finite samples. One is flat when it comes at least
 * three times and more than four times as often as the values within one and a
 * half steps inside of it; the crest of a sine comes at most 2.4
 * times as often as the step below it (arc sine distribution, own derivation:
 * 1 / (sqrt(2) - 1)). A flat extreme is cut off
 *
 *   when it lies within `slack` of an end or beyond: a square wave that high is looked at
 *   again in a larger range, which costs no more than an acquisition; or
 *
 *   wherever it lies, when it comes three times in a row and the samples off both extremes are rough with noise of a step or more,
 *   which a level of the signal would show too.
 *
 * A square without noise in the middle of the range is therefore none. One pass for the
 * extremes and one for their neighbours; allocates nothing.
 */
struct flat_top flat_top(const double *samples, size_t count, const struct ends *ends);

#endif
