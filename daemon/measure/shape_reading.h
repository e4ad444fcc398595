/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a settled scope to the reading of a figure of shape. On the instrument's worker. */
#ifndef GRADUS_DAEMON_SHAPE_READING_H
#define GRADUS_DAEMON_SHAPE_READING_H

#include "settle.h"
#include "shape.h"

/* What the figures of the measurement's latest record are made from. */
struct shape_facts shape_facts_of(const struct measurement *measurement);

/*
 * Samples at the input become those at the tip, in their place, with their mean, sign and the probe's
 * offset. Returns the converter's step there.
 *
 * level  of the zero trace, input units
 */
double shape_at_tip(const struct measurement *measurement, double level, double *samples,
                    size_t count);

/*
 * Makes the reading from the record that settled, kept in measurement->trace, and from further ones
 * where readings are to be averaged. False with the failure set: FAILURE_NO_VALUE where a record does not
 * have the figure.
 */
bool shape_finish(struct measurement *measurement, size_t repeats, struct reading *reading);

#endif
