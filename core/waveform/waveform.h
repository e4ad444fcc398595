/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What one captured trace says: mean, RMS, extremes, its noise and, where it
 * is periodic, its frequency. Mean and RMS are formed over whole periods
 * where there is at least one, for a part of a period shifts both; else over
 * the whole record.
 */
#ifndef GRADUS_CORE_WAVEFORM_H
#define GRADUS_CORE_WAVEFORM_H

#include "core/basics/quantity.h"
#include "core/samples/series.h"
#include "core/samples/wave_reason.h"

#include <stdbool.h>
#include <stddef.h>

struct waveform {
    size_t count;    /* samples in the record */
    double interval; /* seconds from sample to sample */
    double mean;
    double rms;       /* mean included */
    double ac_rms;    /* mean taken away */
    double rectified; /* mean of the magnitude */
    double maximum;
    double minimum;
    double peak_to_peak;
    double noise;     /* standard deviation of one sample's noise, robust against edges; a sine of
                         amplitude A with n samples a period adds about 17 A / n^2 to it */
    double peak_gap;  /* bound on what falls between the samples at the extremes */
    double frequency; /* hertz; NAN where the record shows no regular like crossings */
    double frequency_uncertainty; /* standard, hertz; the time base's own is not in it */
    double periods;      /* whole periods that mean and RMS were formed over; 0: whole record */
    double crest_factor; /* largest magnitude over rms; NAN where rms is zero */
    double form_factor;  /* rms over rectified; NAN where that is zero */
};

/*
 * Measures a record of either kind: at least 4 finite samples, an interval > 0; codes are
 * read where they are. Returns false, writing nothing, when a sample is not finite, an argument is
 * out of bounds, or a result is too large for a double. Makes six passes
 * over the record in double precision; allocates nothing, 32 KiB of stack.
 */
bool waveform_measure_series(const struct series *series, struct waveform *waveform);

/*
 * The same without looking for periods: mean and RMS are those of the whole
 * record, and there is no frequency. For records whose periods are an alias's.
 */
bool waveform_measure_whole(const struct series *series, struct waveform *waveform);

/*
 * Why a record is no picture of a periodic signal; WAVE_NONE when it is one.
 * CLIPPED, FLAT (within three steps), FEW_SAMPLES (fewer than 8 a period),
 * NOISY (no period, and no more height than noise has), NOT_PERIODIC.
 *
 * low, high  the range's ends in the waveform's unit: a sample there is clipped; may be infinite
 * step       the converter's step in that unit, >= 0; 0: not known
 */
enum wave_reason waveform_unfit(const struct waveform *waveform, double low, double high,
                                double step);

/* The value of one aspect; NAN for ASPECT_WHOLE. */
double waveform_aspect(const struct waveform *waveform, enum aspect aspect);

#endif
