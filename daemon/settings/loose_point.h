/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A point that stands in no settings file, for a reading at once: a client
 * gives the keys of its group as JSON, and every rule for points of the
 * settings holds for it, ratings and all.
 */
#ifndef GRADUS_DAEMON_LOOSE_POINT_H
#define GRADUS_DAEMON_LOOSE_POINT_H

#include "daemon/bench/bench.h"

#include <jansson.h>

/*
 * Reads such a point against a bench, which it is not put into: limits of its
 * value only, and neither name, units nor ways. It is called
 * "INSTRUMENT/INPUT/QUANTITY"; no point of the settings can have a "/" in its
 * name. NULL with what is wrong; else to be freed with free().
 */
struct bench_point *loose_point(struct bench *bench, json_t *keys, struct failure *failure);

#endif
