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

/* One record of two inputs. */
struct paired {
    double interval; /* seconds from sample to sample, of both */
    size_t count[2];
    bool overload[2];
};

/*
 * As scope_acquire(), of two inputs by one acquisition: both are set and proved before it is started, and
 * proved again behind it. The samples are left in `records`, input units.
 *
 * requests  of two different inputs, with one duration
 */
bool scope_acquire_pair(struct panel *panel, const struct profile *profile,
                        const struct request requests[2], struct deadline deadline,
                        struct record records[2], struct paired *paired, struct failure *failure);

#endif
