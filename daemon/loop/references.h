/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits that hold for the difference to, or the ratio over, a reading that
 * is in the store: that of a reference unit. They are looked up when settings
 * take effect and stay until the next do, so that no reference moves in the
 * middle of a run.
 */
#ifndef GRADUS_DAEMON_REFERENCES_H
#define GRADUS_DAEMON_REFERENCES_H

#include "daemon/bench/bench.h"

/*
 * Looks the stored references of all points up and puts value and uncertainty
 * into their limits; before the bench is in use. Without a number only a
 * reading that passed is one: a bad unit must not become its own reference.
 * Which it is, its verdict and age are told in the log. What is not there, was
 * altered, or is another quantity is told in the log, and the reference stays
 * unknown: the point has no verdict then (measure_point()).
 */
void references_find(struct bench *bench);

#endif
