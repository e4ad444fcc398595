/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The events of a run, as they are put on record. */
#ifndef GRADUS_DAEMON_BURNIN_TELL_H
#define GRADUS_DAEMON_BURNIN_TELL_H

#include "run_parts.h"

/* An event's body in the making, run and plan named; for burnin_tell(), before any other is opened. */
struct text *burnin_tell_open(struct burnin_run *run);

/* Ends a body that a call is answered with: such texts end in warnings (encode_stored()). */
void burnin_tell_warnings(struct text *text);

/* Ends the body that is open and puts the event on record. */
void burnin_tell(struct burnin_run *run, enum event_kind kind);

/* A point has tripped; the host is told, too. */
void burnin_tell_trip(struct burnin_run *run, size_t slot);

/* Measurements that could not be had leave no reading in the store, but a line in the record. */
void burnin_tell_not_measured(struct burnin_run *run, size_t slot,
                              const struct burnin_outcome *outcome);

/* Rounds that were not held, `count` of them from `first`; none is told of none. */
void burnin_tell_missed(struct burnin_run *run, int64_t first, int64_t count);

#endif
