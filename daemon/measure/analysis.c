/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "analysis.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_IN_SPECTRUM = 1 << 17 };

/* What a sine fit leaves over, of its amplitude, before the record is called no sine. */
static const double most_left_over = 0.2;

static void analyse_spectrum(const struct series *series, struct analysis *analysis)
{
    struct series part = *series;
    if (part.count > MOST_IN_SPECTRUM)
        part.count = MOST_IN_SPECTRUM;
    double complex *workspace = malloc(spectrum_workspace(part.count) * sizeof *workspace);
    if (!workspace) {
        analysis->distortion_lack = WAVE_NO_MEMORY;
        return;
    }
    struct spectrum spectrum;
    analysis->distortion_lack = spectrum_make(&part, WINDOW_BLACKMAN_HARRIS, workspace, &spectrum);
    if (analysis->distortion_lack == WAVE_NONE)
        analysis->distortion_lack = distortion_measure(&spectrum, &analysis->distortion);
    free(workspace);
}

static void analyse_sine(const struct series *series, struct analysis *analysis)
{
    analysis->sine_lack = sine_fit_four(series, analysis->waveform.frequency, &analysis->sine);
    if (analysis->sine_lack == WAVE_NONE &&
        !(analysis->sine.residual <= most_left_over * analysis->sine.amplitude))
        analysis->sine_lack = WAVE_NOT_SINE;
}

/* Figures of a record in which a faster signal only looks like this. */
static bool analyse_alias(const struct series *series, struct analysis *analysis)
{
    analysis->periodic = analysis->pulse_lack = WAVE_ALIAS;
    analysis->sine_lack = analysis->distortion_lack = WAVE_ALIAS;
    return waveform_measure_whole(series, &analysis->waveform);
}

static bool analyse(const struct series *series, double step, struct analysis *seen)
{
    if (!waveform_measure_series(series, &seen->waveform))
        return false;
    seen->periodic = waveform_unfit(&seen->waveform, -INFINITY, INFINITY, step);
    seen->pulse_lack = seen->periodic == WAVE_FLAT
                           ? WAVE_FLAT
                           : pulse_measure(series, &seen->waveform, &seen->pulse);
    seen->sine_lack = seen->distortion_lack = seen->periodic;
    if (seen->pulse_lack == WAVE_NONE) {
        seen->sine_lack = seen->distortion_lack = WAVE_NOT_SINE;
    } else if (seen->periodic == WAVE_NONE) {
        analyse_spectrum(series, seen);
        analyse_sine(series, seen);
    }
    return true;
}

bool analysis_make(const double *samples, size_t count, double interval, double step, bool alias,
                   struct analysis *analysis)
{
    struct series series = series_of_reals(samples, count, interval);
    struct analysis seen = { 0 };
    if (!(alias ? analyse_alias(&series, &seen) : analyse(&series, step, &seen)))
        return false;
    *analysis = seen;
    return true;
}
