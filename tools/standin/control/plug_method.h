/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The control methods about an instrument's USB device: see methods.h. */
#ifndef STANDIN_PLUG_METHOD_H
#define STANDIN_PLUG_METHOD_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/bench/bench.h"

#include <jansson.h>

/*
 * Take it out, put it in (into the controller `udc`, else where it was last),
 * or both. Each returns true, or NULL with the problem told. Hosts notice
 * later.
 */
json_t *unplug_method(struct bench *bench, json_t *params, struct problem *problem);
json_t *plug_method(struct bench *bench, json_t *params, struct problem *problem);
json_t *replug_method(struct bench *bench, json_t *params, struct problem *problem);

/*
 * What the device knows: connected, udc; USBTMC: remote_enabled, locked_out,
 * clears, aborts, pulses, halts (of bulk-out, for broken rules); serial: baud,
 * data_bits, parity, stop_bits, dtr, rts, breaks.
 */
json_t *device_method(struct bench *bench, json_t *params, struct problem *problem);

#endif
