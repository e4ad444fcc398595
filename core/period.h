/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The whole periods in a trace, and averages over them: waveform.c's other half.
 * Times are in samples from the start of the record.
 */
#ifndef GRADUS_CORE_PERIOD_H
#define GRADUS_CORE_PERIOD_H

#include <stddef.h>

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
 * volts    finite samples, at least 2; borrowed
 * minimum  smallest sample, and maximum the largest; their difference is finite
 * noise    standard deviation of one sample's noise, >= 0
 */
struct stretch period_find(const double *volts, size_t count, double minimum, double maximum,
                           double noise);

/* Periods per sample; NAN where the record is not periodic. */
double period_frequency(const struct stretch *stretch);

/* Mean of the trace. One pass, compensated summation. */
double period_mean(const double *volts, size_t count, const struct stretch *stretch);

/* Mean square of the trace's deviation from `centre`, >= 0. One pass, compensated summation. */
double period_mean_square(const double *volts, size_t count, double centre,
                          const struct stretch *stretch);

#endif
