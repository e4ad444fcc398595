/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Comparing doubles in tests: the bound is chosen by each test for its
 * quantity, NAN equals nothing, and a failure shows both numbers in full.
 * Include after cmocka.h.
 */
#ifndef GRADUS_TESTS_NEAR_H
#define GRADUS_TESTS_NEAR_H

#include <math.h>

static inline void check_within(double got, double wanted, double bound, const char *what,
                                const char *file, int line)
{
    if (!(fabs(got - wanted) <= bound)) {
        print_error("%s is %.17g, wanted %.17g within %.3g\n", what, got, wanted, bound);
        _fail(file, line);
    }
}

static inline void check_near(double got, double wanted, double relative, const char *what,
                              const char *file, int line)
{
    check_within(got, wanted, relative * fabs(wanted), what, file, line);
}

/* |got - wanted| <= bound, in the unit of the quantity. */
#define assert_within(got, wanted, bound)                                                          \
    check_within((got), (wanted), (bound), #got, __FILE__, __LINE__)

/* |got - wanted| <= relative * |wanted|. */
#define assert_near(got, wanted, relative)                                                         \
    check_near((got), (wanted), (relative), #got, __FILE__, __LINE__)

#endif
