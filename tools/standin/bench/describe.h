/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The field names of sources, connections and instruments, in both directions. */
#ifndef STANDIN_DESCRIBE_H
#define STANDIN_DESCRIBE_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/circuit/circuit.h"
#include "tools/standin/circuit/source.h"
#include "tools/standin/instrument/instrument.h"

#include <jansson.h>
#include <stdbool.h>

/* Which input of which instrument, and which source (empty: none), beside the probe. */
struct connection_plan {
    char instrument[INSTRUMENT_NAME];
    double input;
    char source[SOURCE_NAME];
    struct probe probe;
};

/*
 * Reads a source. With `kind` given it begins from nothing, else from what
 * `source` holds (`known`). The name is under `name_key`.
 */
bool describe_source(json_t *object, const char *name_key, bool known, struct source *source,
                     struct problem *problem);

/* Reads a connection from a control call's object. */
bool describe_connection(json_t *object, struct connection_plan *plan, struct problem *problem);

/* Reads an instrument from the bench file's object. */
bool describe_instrument(json_t *object, struct instrument_plan *plan, struct problem *problem);

/* The true values of a source as an object; what does not apply is left out. */
json_t *describe_truth(const struct source *source, double now);

/* Received bytes as a JSON string; what is no UTF-8 shows as `?`. */
json_t *describe_bytes(const char *bytes);

#endif
