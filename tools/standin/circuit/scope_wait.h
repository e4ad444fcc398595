/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope that waits for one of its inputs to pass a level. It begins to look once
 * the part of the record that lies before the trigger is full, and finds
 * the moment to a hundredth of a sample.
 */
#ifndef STANDIN_SCOPE_WAIT_H
#define STANDIN_SCOPE_WAIT_H

#include "scope.h"

/* Arms it: the records are void until the trigger comes. */
void scope_arm(struct scope *scope, double now, gsl_rng *rng);

/* Gives the wait up; there is no record. */
void scope_disarm(struct scope *scope);

/*
 * Looks on up to `now`. True when the trigger came: the record of both inputs
 * has then been taken around it, and *end is when its last sample is.
 */
bool scope_look(struct scope *scope, const struct tie *ties, double now, double *end, gsl_rng *rng);

#endif
