/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The method that moves the hand at an input. */
#ifndef STANDIN_HAND_METHOD_H
#define STANDIN_HAND_METHOD_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/bench/bench.h"

#include <jansson.h>
#include <stdbool.h>

/*
 * {instrument, input, move, source?, after_s?, bounce_s?, hum?, mains_hz?, leftover?}
 *
 * move  "touch": the tip comes down on `source`; "lift"; "slip": it slides to
 *       `source`, or off where none is named; "bounce": contact comes and goes
 *       where it is
 *
 * The first move puts a hand on the input instead of its wire; its probe stays. False with the
 * problem told when a field makes no sense.
 */
bool hand_method(struct bench *bench, json_t *params, struct problem *problem);

#endif
