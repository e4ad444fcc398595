/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parameters of a captured waveform as JSON. */
#ifndef GRADUS_DAEMON_ENCODE_ANALYSIS_H
#define GRADUS_DAEMON_ENCODE_ANALYSIS_H

#include "daemon/basics/json_text.h"
#include "daemon/measure/analysis.h"
#include "daemon/measure/shape.h"

/*
 * The member "parameters". Sets of figures that do not apply hold their
 * reason only; figures that a record does not show are left out.
 */
void encode_analysis(struct text *text, const struct analysis *analysis);

/*
 * The member "figures": what the record's shape says, by the names of quantities, each with its
 * uncertainty or the reason why it is not there.
 *
 * unit  of the signal at the tip
 */
void encode_shapes(struct text *text, const struct shape_figures *shapes, const char *unit);

#endif
