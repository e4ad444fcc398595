/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The control method that makes things go wrong. */
#ifndef STANDIN_FAULT_METHOD_H
#define STANDIN_FAULT_METHOD_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/bench/bench.h"

#include <jansson.h>
#include <stdbool.h>

/*
 * {instrument, kind} and, by kind:
 *     count        replies to be hit; 1 when left out, no end when a probability is given
 *     probability  for each reply, 0 to 1; 1 when left out
 *     delay_ms     late: how late; split: between bytes
 *     input, on    knob_off: which input of a scope (1), and whether it is in use (true)
 *     code, text   error_queue: the entry (-310, its standard text)
 */
bool fault_method(struct bench *bench, json_t *params, struct problem *problem);

#endif
