/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the last check of each probe's compensation came to, and the last zero
 * of its leads: a probe is checked at one input, so each pair is kept by itself. Each check is an
 * event of the store too, from which they come back at a start of the daemon;
 * without a store no probe counts as checked then. Used on the loop thread.
 */
#ifndef GRADUS_DAEMON_PROBE_CHECKS_H
#define GRADUS_DAEMON_PROBE_CHECKS_H

#include "core/input/compensation.h"
#include "core/input/lead_zero.h"
#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"

struct probe_checks;

/* No checks yet. NULL when memory is short. */
struct probe_checks *probe_checks_new(void);

/* Accepts NULL. */
void probe_checks_free(struct probe_checks *checks);

/*
 * Notes the outcome of a check of a point's probe at its input, in place of the one before.
 * False, and nothing is noted, when memory is short.
 */
bool probe_checks_note(struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, const struct compensation *found,
                       struct wall_time when);

/* The same for the zero of the probe's leads, taken at zero->when. */
bool probe_checks_note_zero(struct probe_checks *checks, const struct bench *bench,
                            const struct bench_point *point, const struct lead_zero *zero);

/* The last zero of the point's probe at its input; {0} when there was none. */
struct lead_zero probe_checks_zero(const struct probe_checks *checks, const struct bench *bench,
                                   const struct bench_point *point);

/*
 * Takes in a check as it was put on record by probe_checks_encode(). What is
 * no such text, or of no known state, is passed over. False when memory is short.
 */
bool probe_checks_recall(struct probe_checks *checks, const char *body, struct wall_time when);

/* The same for a zero, by probe_checks_encode_zero(). */
bool probe_checks_recall_zero(struct probe_checks *checks, const char *body, struct wall_time when);

/* Takes in the checks and zeros that the database at `path` has on record, in their order. */
void probe_checks_recall_all(struct probe_checks *checks, const char *path);

/* Writes the record of a check. */
void probe_checks_encode(struct text *text, const struct bench *bench,
                         const struct bench_point *point, const struct compensation *found);

/* Writes the record of a zero of leads. */
void probe_checks_encode_zero(struct text *text, const struct bench *bench,
                              const struct bench_point *point, const struct lead_zero *zero);

/*
 * Whether the last check of the point's probe at its input was good and is recent. Else
 * false with FAILURE_MISTAKE in `failure`: never checked, not compensated, too
 * long ago, or, by a clock that was set back, later than now. A probe that is no divider has nothing to compensate and is good.
 *
 * most_s  how old the check may be, seconds, > 0
 */
bool probe_checks_good(const struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, double most_s, struct wall_time now,
                       struct failure *failure);

#endif
