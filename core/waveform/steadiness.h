/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a record says the same all along. What an average is of changes from period to period
 * where the signal is modulated, drifts, or carries something slower; its average over the record
 * is then one of many that might have been. The record is cut into parts of whole periods (into even
 * parts where it has none), and the scatter of their averages, with what neighbours have in common, says
 * how far the average over all of them may be from that of a longer record. What is slower than a third
 * of the record is looked for apart, in its first cosines, where much smaller changes stand out of the noise.
 */
#ifndef GRADUS_CORE_STEADINESS_H
#define GRADUS_CORE_STEADINESS_H

#include "core/basics/quantity.h"
#include "core/samples/series.h"
#include "waveform.h"

#include <stdbool.h>

struct steadiness {
    double
        scatter; /* standard uncertainty of the average, record's values; 0: as steady as noise lets
                       one tell */
    bool passing; /* fewer than two changes to and fro in the record: it cannot say what a longer
                       one would; `scatter` is that from part to part then */
};

/*
 * Compares the parts of a record.
 *
 * waveform  what core/waveform/waveform measured of the series
 * aspect    ASPECT_DC, ASPECT_AC or ASPECT_RMS: what is averaged, its square for the latter two
 * noise     standard deviation of a sample's noise, rounding included, > 0
 * edges     bound on what edges between samples do to the average, >= 0
 * step      the converter's, >= 0: what changes by less than half of it counts as steady
 *
 * The variance of a mean of n parts with autocorrelations r_k is s^2 / n (1 + 2 sum r_k); the sum ends
 * where two successive r_k together are no longer above zero (initial positive sequence; Geyer,
 * Practical Markov chain Monte Carlo, Statistical Science 7 (1992), 473-483, 3.3; from memory).
 * A record of one period is taken as steady where the quarter behind it is like its first: it cannot be told.
 */
struct steadiness steadiness_of(const struct series *series, const struct waveform *waveform,
                                enum aspect aspect, double noise, double edges, double step);

#endif
