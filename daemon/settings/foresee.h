/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How well a point can be measured before it has been: from its settings alone. */
#ifndef GRADUS_DAEMON_FORESEE_H
#define GRADUS_DAEMON_FORESEE_H

#include "daemon/bench/bench.h"

#include <stdbool.h>

/*
 * The smallest combined standard uncertainty (tip units) of all settings of the
 * point's instrument that hold the expected signal; NAN when nothing is expected,
 * or its profile is not there. False when no setting holds it.
 */
bool foresee(const struct bench *bench, const struct bench_point *point, double *standard);

#endif
