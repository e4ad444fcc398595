/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fitting the params of a request to the parameters of a method: by position
 * or by name, with types, bounds and defaults. null stands for "not given"
 * where a parameter may be left out.
 */
#ifndef GRADUS_DAEMON_RPC_BIND_H
#define GRADUS_DAEMON_RPC_BIND_H

#include "rpc.h"

/*
 * What is wrong with the params; texts are always terminated.
 *
 * One idea in two halves; the other half is rpc.h, which has the calls.
 */
struct rpc_mistake {
    char what[160];
    char expected[160];
};

/* Writes what a parameter has to be: "an integer from 1 to 1000". */
void rpc_expected(const struct rpc_parameter *parameter, char *text, size_t size);

/*
 * Fills in one value a parameter. False, with the first mistake said, when a
 * parameter is missing, unknown, of the wrong type or out of bounds.
 *
 * parameters  ends with a NULL name; at most RPC_MAX_PARAMETERS
 * params      array, object or NULL
 * values      room for RPC_MAX_PARAMETERS; texts are borrowed from `params`
 */
bool rpc_bind(const struct rpc_parameter *parameters, json_t *params, struct rpc_value *values,
              struct rpc_mistake *mistake);

#endif
