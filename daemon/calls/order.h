/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a client says of the job (order of a customer's) that a reading belongs to. */
#ifndef GRADUS_DAEMON_ORDER_H
#define GRADUS_DAEMON_ORDER_H

#include "core/basics/failure.h"

#include <jansson.h>

/*
 * The JSON text that goes into the reading, for free(): name, and unit, serial, customer,
 * measured_by, stage ("before" or "after" the repair), remarks, fields{} as far as they are said.
 * With `many`, serials[] of several units as well. NULL with what is wrong: an unknown member, no name, a text that is too long or not printable.
 */
char *order_read(json_t *object, bool many, struct failure *failure);

#endif
