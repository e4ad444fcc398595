/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where a point is going: what it did so far (core/course/history.h), the line
 * through what it does now, and when that line will meet a limit. Behind a
 * step only what came after it counts, and excursions do not count at all.
 */
#ifndef GRADUS_CORE_OUTLOOK_H
#define GRADUS_CORE_OUTLOOK_H

#include "core/uncertainty/limits.h"
#include "history.h"
#include "trend.h"

struct outlook {
    bool studied; /* `finding` holds; else there were too few values */
    struct history_finding finding;
    bool fitted; /* `line` holds */
    struct trend_line line;
    bool meets;   /* it drifts, and what follows holds */
    bool at_high; /* the limit that it will meet */
    double level; /* of that limit */
    struct trend_crossing crossing;
};

/*
 * Looks at a run of values.
 *
 * time     ascending, finite
 * value    finite, unit of the limits
 * count    any
 * quantum  as for history_study()
 * limits   NULL, or limits of another figure than the value: none are met
 * scratch  room for 2 * count doubles
 * A limit is met by a drift that history_study() has found; a slope that may
 * be noise meets nothing.
 */
void outlook_find(const double *time, const double *value, size_t count, double quantum,
                  const struct limits *limits, double *scratch, struct outlook *outlook);

#endif
