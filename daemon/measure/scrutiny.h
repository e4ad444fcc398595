/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a reading that has been evaluated tells besides its value: whether the
 * instrument could see the signal that was really there, signs of mistakes at
 * the bench, and loading. Some of it takes the value away again, by policy.
 */
#ifndef GRADUS_DAEMON_SCRUTINY_H
#define GRADUS_DAEMON_SCRUTINY_H

#include "core/reading.h"
#include "daemon/bench/bench.h"
#include "drivers/instrument/acquisition.h"

/* What was seen. All borrowed. */
struct evidence {
    const struct bench *bench;
    const struct bench_point *point;
    const struct chain *chain;
    const struct acquisition *acquisition; /* ground reference subtracted */
    double leads_age; /* seconds since the leads were zeroed; NAN: never, or it does not count */
    const struct signal *zero; /* the zero trace, at the input; NULL: not looked at */
};

/*
 * Appends warnings to the reading. False, with the reason, when there must be no value:
 * FAILURE_UNSUPPORTED for a signal that cannot be seen, FAILURE_RATING or
 * FAILURE_MISTAKE for a mistake that the bench's policy blocks.
 */
bool scrutinise(const struct evidence *evidence, struct reading *reading, struct failure *failure);

#endif
