/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the last check of each probe's compensation came to: a probe is
 * compensated for one input, so each pair is kept by itself. Kept in memory: after a
 * start of the daemon no probe counts as checked. Used on the loop thread.
 */
#ifndef GRADUS_DAEMON_PROBE_CHECKS_H
#define GRADUS_DAEMON_PROBE_CHECKS_H

#include "../core/compensation.h"
#include "bench.h"

struct probe_checks;

/* No checks yet. NULL when memory is short. */
struct probe_checks *probe_checks_new(void);

/* Accepts NULL. */
void probe_checks_free(struct probe_checks *checks);

/*
 * Notes the outcome of a check of a point's probe at its input, in place of the one before.
 * False, and nothing is noted, when memory is short.
 *
 * now  monotonic nanoseconds
 */
bool probe_checks_note(struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, const struct compensation *found,
                       int64_t now);

/*
 * Whether the last check of the point's probe at its input was good and is recent. Else
 * false with FAILURE_MISTAKE in `failure`: never checked, not compensated, or
 * too long ago. A probe that is no divider has nothing to compensate and is good.
 *
 * most_s  how old the check may be, seconds, > 0
 * now     monotonic nanoseconds
 */
bool probe_checks_good(const struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, double most_s, int64_t now,
                       struct failure *failure);

#endif
