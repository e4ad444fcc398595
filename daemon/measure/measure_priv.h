/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the ways to a waveform share. */
#ifndef GRADUS_DAEMON_MEASURE_PRIV_H
#define GRADUS_DAEMON_MEASURE_PRIV_H

#include "measure.h"
#include "settle.h"

/*
 * Makes a waveform at the tip of the samples of the measurement's last look, once its zero trace was
 * seen and the instrument confirmed. Unless `done`, or where one of these fails, there is none: the trace
 * is freed and the failure in capture->reading. Else the capture owns the samples. Returns which.
 */
bool measurement_show(struct measurement *measurement, bool done, struct trace *trace,
                      struct capture *capture);

#endif
