/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a record says of the signal behind noise and samples. The figures of core/waveform/waveform are
 * those of the samples: noise lifts their extremes and adds its power to their RMS, and the
 * signal's peaks lie between them. Here these are corrected, as JCGM 100 3.2.4 and 6.3.1 have it,
 * by what the record shows, and what the corrections leave open is told in the
 * shape that it has.
 *
 * A record that passes sine_check() has the RMS of its sine and the extremes of that and of the
 * harmonics that may hide in the noise. Of any other, noise
 * and samples leave the value between two ends, and the value is their middle:
 *   an extreme       from what all samples at the top would have been lifted by (core/waveform/extreme)
 *                    to what may be between the samples besides (waveform.peak_gap);
 *   ac and RMS       without all of the noise that the second differences show, which is too
 *                    much for a signal that bends, to none of it taken away.
 * Where a record can be folded over its period (core/waveform/fold), and that leaves less open, an
 * extreme is from that of what repeats (core/waveform/crest) to what noise may hide above it
 * (core/waveform/ceiling), unless a sample lies further out than noise explains or periods differ;
 * and where there are steep edges mean, ac and RMS are those of the fold.
 */
#ifndef GRADUS_CORE_ESTIMATE_H
#define GRADUS_CORE_ESTIMATE_H

#include "core/basics/quantity.h"
#include "core/samples/series.h"
#include "waveform.h"

/* In the record's values. A mean, ac and RMS carry the scatter of core/waveform/steadiness as well. */
struct estimate {
    double value;
    double mean;     /* the level that goes with it */
    double scatter;  /* standard uncertainty by what noise does to it, without rounding */
    double doubt;    /* bound on what is wrong all the same; not by chance, the same each time */
    double edges;    /* bound on what edges do that fall between two samples; triangular */
    double averaged; /* so many roundings average out as in a mean of that many samples, >= 1 */
    bool passing;    /* an average that holds for this record only, core/waveform/steadiness */
};

/*
 * The value of an aspect, NAN for ASPECT_WHOLE.
 *
 * waveform  what core/waveform/waveform measured of the series
 * step      the converter's, in the record's values; 0: not known
 */
struct estimate estimate_aspect(const struct series *series, const struct waveform *waveform,
                                enum aspect aspect, double step);

#endif
