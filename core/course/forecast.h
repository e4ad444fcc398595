/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a contest (contest.h) says of the time to come: when a limit will be
 * met, and where settling ends. The contestants' answers are mixed by their
 * weights, and what is stated is an interval of 95 % of that mixture,
 * stretched by what simulated backgrounds showed to be needed: slow wandering that so few readings cannot
 * tell from white noise counts as far as it is possible. A date
 * is stated only when the courses that meet the limit are 99 % of it.
 */
#ifndef GRADUS_CORE_FORECAST_H
#define GRADUS_CORE_FORECAST_H

#include "contest.h"

/* When the course meets a level: the middle, and the ends of the interval, 95 %. */
struct forecast_crossing {
    double earliest, expected, latest;
};

/* Where settling ends: the middle, and the ends of the interval, 95 %. */
struct forecast_level {
    double low, expected, high;
};

/*
 * When the course will be beyond `level` (above it with `above`, else below),
 * after `now`. False, writing nothing, when it is there already, is not certain to be within
 * forecast_reach spans of what has been seen, or the interval would end beyond 4 of them.
 */
bool forecast_meets(const struct contest *contest, double level, bool above, double now,
                    struct forecast_crossing *crossing);

extern const double forecast_reach;

/* Of the courses that end anywhere. False, writing nothing, when 95 % of confidence cannot bound it. */
bool forecast_settles(const struct contest *contest, struct forecast_level *level);

#endif
