/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Delay and phase between two inputs that a scope records together. On the instrument's worker. */
#ifndef GRADUS_DAEMON_PAIR_H
#define GRADUS_DAEMON_PAIR_H

#include "settle.h"

/*
 * Makes the reading of a point for whose quantity quantity_is_pair() holds, from the measurement as
 * settled: settles the reference input by itself, records both together, and compares when each signal rises
 * through its middle. Positive is later than the reference; of all turns the value is the one nearest to
 * what is expected, or to zero.
 *
 * False with the failure set: FAILURE_NO_VALUE where either has no such instant, or where they are not of
 * one frequency.
 */
bool pair_finish(struct measurement *measurement, size_t repeats, struct measure_memory *memory,
                 struct reading *reading);

#endif
