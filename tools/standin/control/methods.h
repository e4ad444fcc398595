/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can be asked of the bench on its control socket. */
#ifndef STANDIN_METHODS_H
#define STANDIN_METHODS_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/bench/bench.h"

#include <jansson.h>
#include <stdbool.h>

/* Whether there is a method of that name. */
bool methods_known(const char *method);

/*
 * Calls a known method with an object of parameters:
 *     set_source {source, ...fields}          connect {instrument, input, source?, ...probe}
 *     hand {instrument, input, move, ...}
 *     fault {instrument, kind, ...}           clear {instrument?}
 *     truth {source} or {instrument, input}   log {instrument, count?}
 *     counters {instrument}                   instruments {}
 *     unplug {instrument}                     plug {instrument, udc?}
 *     replug {instrument, udc?}               device {instrument}
 *     quit {}
 * The plug methods are for USB links whose bench entry names the gadget.
 * Returns the result, the caller's, or NULL with the problem told.
 */
json_t *methods_call(struct bench *bench, const char *method, json_t *params,
                     struct problem *problem);

#endif
