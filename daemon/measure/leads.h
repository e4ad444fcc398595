/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The leads of a resistance on two wires, and what their zero does to its reading. */
#ifndef GRADUS_DAEMON_LEADS_H
#define GRADUS_DAEMON_LEADS_H

#include "core/input/chain.h"
#include "core/input/lead_zero.h"
#include "daemon/bench/bench.h"

/* Whether the leads are part of what is read at the point: a resistance on two wires. */
bool leads_count(const struct bench_point *point);

/*
 * Puts what is measured of the leads, where it counts and is recent, into the
 * chain in the place of its probe. A zero that the probe as it is stated now
 * cannot have is of other leads, and passed over. Returns the age of the zero in seconds, used
 * or not; NAN where there is none or the leads are no part of the reading.
 *
 * probe  holds the probe for as long as the chain is used
 */
double leads_take(const struct bench *bench, const struct bench_point *point,
                  const struct lead_zero *zero, struct chain *chain, struct probe *probe);

#endif
