/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A meter: connect the channel, enter the function, select the range, read one number. */
#ifndef GRADUS_DRIVERS_METER_H
#define GRADUS_DRIVERS_METER_H

#include "acquisition.h"
#include "panel.h"

/*
 * instrument_acquire() for a meter; the dialogue is in step. On failure it is
 * suspect, but for FAILURE_CHANGED: the meter turned out to be set otherwise
 * than it was told, and the next acquisition sets it afresh.
 */
bool meter_acquire(struct panel *panel, const struct profile *profile,
                   const struct request *request, struct deadline deadline,
                   struct acquisition *acquisition, struct failure *failure);

#endif
