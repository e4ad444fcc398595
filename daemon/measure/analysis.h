/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Everything that one captured record says, each set of figures or the reason why it does not apply. */
#ifndef GRADUS_DAEMON_ANALYSIS_H
#define GRADUS_DAEMON_ANALYSIS_H

#include "core/waveform/distortion.h"
#include "core/waveform/pulse.h"
#include "core/waveform/sine_fit.h"
#include "core/waveform/waveform.h"

/* Figures of a record. Each set holds where its reason is WAVE_NONE. */
struct analysis {
    struct waveform waveform;    /* always there */
    enum wave_reason periodic;   /* why there is no sound picture of a period */
    enum wave_reason pulse_lack; /* of a record that rests at two levels */
    struct pulse pulse;
    enum wave_reason sine_lack; /* of a periodic one that is nearly a sine */
    struct sine_fit sine;
    enum wave_reason distortion_lack; /* of a periodic one without two levels */
    struct distortion distortion;
};

/*
 * Analyses a record. The spectrum is made from its first 131072 samples. Takes 48
 * bytes of memory for each of those while it works; without them the spectrum
 * is left out with WAVE_NO_MEMORY. False, writing nothing, as waveform_measure_series().
 *
 * step  the converter's in the unit of the samples, >= 0
 * alias  what looks like periods is none: the figures are of the whole record, and
 *        what needs periods is left out with WAVE_ALIAS
 */
bool analysis_make(const double *samples, size_t count, double interval, double step, bool alias,
                   struct analysis *analysis);

/* Adds the time base's error, of which `bound` is the relative bound, to the frequencies. */
void analysis_add_timebase(struct analysis *analysis, double bound);

#endif
