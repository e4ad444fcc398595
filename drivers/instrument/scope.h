/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A digitising scope: set time base and input, make one acquisition, prove
 * that the vertical scale is calibrated, fetch the samples, look for clipping.
 */
#ifndef GRADUS_DRIVERS_SCOPE_H
#define GRADUS_DRIVERS_SCOPE_H

#include "acquisition.h"
#include "panel.h"
#include "samples.h"

/*
 * instrument_acquire() for a scope; the dialogue is in step. The samples are
 * left in `record`. On failure the dialogue is suspect, but for a scale that
 * is not calibrated: that is the instrument's answer.
 */
bool scope_acquire(struct panel *panel, const struct profile *profile,
                   const struct request *request, struct deadline deadline, struct record *record,
                   struct acquisition *acquisition, struct failure *failure);

#endif
