/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How long, and how finely, a record should look at a periodic signal. */
#ifndef GRADUS_CORE_TIMEBASE_H
#define GRADUS_CORE_TIMEBASE_H

#include "core/basics/quantity.h"
#include "core/samples/wave_reason.h"

#include <stdbool.h>
#include <stddef.h>

/* What a record needs. */
struct timebase_need {
    double periods;    /* at least */
    double per_period; /* samples of each, at least; INFINITY: as many as there can be */
};

/*
 * What an aspect needs: dc, ac and rms ten periods, so that what is wrong at
 * the ends of the whole ones is little, and 20 samples of each; extremes three periods and 70
 * samples, which leave (pi / 70)^2 / 2, 0.1 % of a sine's amplitude, between them.
 */
struct timebase_need timebase_need(enum aspect aspect);

/*
 * Chooses the shortest record that holds the periods needed.
 *
 * durations  seconds, ascending, > 0, `count` of them, at least one; of `points` samples each
 * frequency  expected, hertz, > 0
 *
 * Returns WAVE_NONE with its number in `*choice`. Else why none will do, and in
 * `*choice` the one that comes nearest: FEW_PERIODS (none is long enough, the longest),
 * FEW_SAMPLES (the shortest with the periods has too few of each; also where
 * fewer than two samples a period would give an alias for the frequency).
 */
enum wave_reason timebase_choose(const double *durations, size_t count, size_t points,
                                 double frequency, const struct timebase_need *need,
                                 size_t *choice);

/*
 * Chooses the record in which a signal would show itself, of which one record shows an
 * alias: the shortest that holds so many periods of the lowest frequency that the alias can
 * stand for. False where none that is shorter than the one seen does.
 *
 * durations  as above
 * lowest     hertz, > 0
 * periods    TIMEBASE_SHOWS for a frequency; one shows a swing where a record was flat
 * duration   of the record that was seen, seconds
 */
bool timebase_faster(const double *durations, size_t count, double lowest, double periods,
                     double duration, size_t *choice);

/* What shows beyond doubt as a period in a record. */
#define TIMEBASE_SHOWS 3.0

#endif
