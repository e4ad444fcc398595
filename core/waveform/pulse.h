/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pulse figures in the terms of IEEE Std 181: between the 10 % and 90 %
 * reference levels a transition, between the 50 % instants of two a pulse;
 * instants by straight lines between samples. Where a record holds several
 * transitions, durations are means over all, and aberrations the worst of all.
 */
#ifndef GRADUS_CORE_PULSE_H
#define GRADUS_CORE_PULSE_H

#include "levels.h"
#include "waveform.h"

/* Instants of one transition, samples from the start of the record. */
struct transition {
    bool rising;
    double at_10; /* of the way from low to high, whichever way it goes */
    double at_50;
    double at_90;
    size_t inside; /* samples between the 10 % and the 90 % instant */
};

/*
 * The first transition whose 10 to 90 % way ends after sample `from`, with the sample that ended
 * it in `*end`, where the next search goes on. A transition that turns back is none. False when
 * there is none any more.
 *
 * levels  of the record, high > low
 */
bool transition_next(const struct series *series, const struct levels *levels, size_t from,
                     struct transition *transition, size_t *end);

/* All transitions of one direction. */
struct transitions {
    size_t count;
    double duration; /* seconds, 10 to 90 %; NAN: none, or fewer than two samples on the way */
    double before;   /* largest aberration before, away from the other state, share of amplitude */
    double after;    /* and after: the overshoot; NAN where there is none of this direction */
};

/* The figures of a record, in its values and seconds. What it does not show is NAN. */
struct pulse {
    double low;
    double high;
    double amplitude;
    struct transitions rise;
    struct transitions fall;
    double high_duration; /* from rise to fall, 50 % instants: the pulse duration */
    double low_duration;  /* from fall to rise */
    double duty;          /* share of a period that is high; only where the record is periodic */
};

/*
 * Measures a record between given levels. Aberrations include the noise: of
 * thousands of samples some are four sigma off. Between two transitions the
 * first half of the time counts as after the one, the second half as before
 * the other.
 */
void pulse_between(const struct series *series, const struct levels *levels, double frequency,
                   struct pulse *pulse);

/*
 * Finds the levels and measures. Returns WAVE_NONE and fills `pulse`, else
 * why there are no such figures, writing nothing. Passes as those of
 * levels_find() and one or two more.
 *
 * waveform  what waveform_measure_series() said of the same record
 */
enum wave_reason pulse_measure(const struct series *series, const struct waveform *waveform,
                               struct pulse *pulse);

#endif
