/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The whole periods in a record, and averages over them: waveform.c's other half.
 * Times are in samples from the start of the record, levels in stored units.
 */
#ifndef GRADUS_CORE_PERIOD_H
#define GRADUS_CORE_PERIOD_H

#include "core/samples/series.h"

/* The stretch of a record that averages are formed over. */
struct stretch {
    double begin;
    double end;
    double periods; /* whole ones in it; 0: not periodic, and every sample counts the same */
};

/*
 * Finds the longest stretch of whole periods, from like crossing to like
 * crossing of the level midway between the extremes. One pass.
 *
 * series   finite samples, at least 2
 * minimum  smallest sample, and maximum the largest; their difference is finite
 * noise    standard deviation of one sample's noise, >= 0
 */
struct stretch period_find(const struct series *series, double minimum, double maximum,
                           double noise);

/*
 * How far on either side of the level a signal must come for a crossing of it to count.
 *
 * height  distance of the record's extremes
 */
double period_hysteresis(double height, double noise);

/* Periods per sample; NAN where the record is not periodic. */
double period_frequency(const struct stretch *stretch);

/*
 * Relative standard uncertainty of that frequency: noise, or what hides within the
 * converter's step where that is more, at the two crossings
 * that end the stretch, over the slope there, and what may be hidden between
 * the two samples on either side of them (taken as rectangular, half as wide
 * as their bend is to their step, and half an interval where an edge falls
 * between two samples). The time base's own is not in it. NAN where there is
 * no frequency; INFINITY where the slope drowns in noise.
 */
double period_frequency_uncertainty(const struct series *series, const struct stretch *stretch,
                                    double minimum, double maximum, double noise);

/* Averages over a stretch, stored units. */
struct averages {
    double mean;
    double mean_square; /* of the deviation from the mean, >= 0 */
    double magnitude;   /* mean of the distance from where the value is zero */
};

/* Averages over the stretch. One pass, two where the mean is far from `middle`, as of rare pulses. */
struct averages period_average(const struct series *series, const struct stretch *stretch,
                               double middle);

#endif
