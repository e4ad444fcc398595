/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where a point is going: what it did so far (core/course/history.h), which
 * course that is and on what background (core/course/contest.h), and what
 * follows for the time to come (core/course/forecast.h). Excursions do not
 * count. That a point moves, or has stepped, is claimed where the contrary is
 * less probable than one in a thousand, and only what moves meets a limit.
 * Where neither its slope nor anything in its history stands out even from
 * white noise there is no contest: a rack of steady points costs little.
 *
 * Rooms get warm by day and cool by night, which for hours looks like a
 * drift. So until a whole day has been seen a limit is met only where that
 * is certain to be within the hour (own choice: a cycle that stays a twentieth inside
 * of a limit never looks as if it would be there in an hour).
 */
#ifndef GRADUS_CORE_OUTLOOK_H
#define GRADUS_CORE_OUTLOOK_H

#include "core/uncertainty/limits.h"
#include "forecast.h"
#include "history.h"
#include "trend.h"

struct outlook {
    bool studied; /* `finding` holds; else there were too few values */
    struct history_finding finding;
    bool fitted; /* `line` holds */
    struct trend_line
        line;      /* where courses were compared, its slope is over all by their weights */
    bool moves;    /* it drifts or settles: its slope is more than noise */
    bool compared; /* the two that follow hold */
    enum background_kind background; /* the most probable */
    double day;                      /* swing of a daily cycle, peak to peak; 0: none is claimed */
    bool settles;                    /* it settles, and `settled` holds */
    struct forecast_level settled;
    bool stays;   /* it settles within the limits, as far as 95 % go */
    bool meets;   /* it drifts, and what follows holds */
    bool at_high; /* the limit that it will meet */
    double level; /* of that limit */
    struct forecast_crossing crossing;
};

/*
 * Looks at a run of values.
 *
 * time     hours, ascending, finite
 * value    finite, unit of the limits
 * count    any
 * quantum  as for history_study()
 * limits   NULL, or limits of another figure than the value: none are met
 * scratch  room for 2 * count doubles
 */
void outlook_find(const double *time, const double *value, size_t count, double quantum,
                  const struct limits *limits, double *scratch, struct outlook *outlook);

#endif
