/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "analysis.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_IN_SPECTRUM = 1 << 17 };

/* What a sine fit leaves over, of its amplitude, before the record is called no sine. */
static const double most_left_over = 0.2;

static enum wave_reason distortion_in(const struct series *series, const struct spectrum_room *room,
                                      struct distortion *distortion)
{
    if (!room->samples || !room->table || !room->workspace)
        return WAVE_NO_MEMORY;
    struct spectrum spectrum;
    enum wave_reason lack = spectrum_make(series, WINDOW_BLACKMAN_HARRIS, room, &spectrum);
    return lack != WAVE_NONE ? lack : distortion_measure(&spectrum, distortion);
}

static enum wave_reason analyse_spectrum(const struct series *series, struct distortion *distortion)
{
    struct series part = *series;
    if (part.count > MOST_IN_SPECTRUM)
        part.count = MOST_IN_SPECTRUM;
    size_t length = spectrum_length(part.count);
    double *samples = malloc(length * sizeof *samples);
    gsl_fft_real_wavetable *table = gsl_fft_real_wavetable_alloc(length);
    gsl_fft_real_workspace *workspace = gsl_fft_real_workspace_alloc(length);
    const struct spectrum_room room = { samples, table, workspace };
    enum wave_reason lack = distortion_in(&part, &room, distortion);
    gsl_fft_real_workspace_free(workspace);
    gsl_fft_real_wavetable_free(table);
    free(samples);
    return lack;
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
        seen->distortion_lack = analyse_spectrum(series, &seen->distortion);
        analyse_sine(series, seen);
    }
    return true;
}

/* A bound as the standard uncertainty of a uniform distribution, beside the record's own. */
static double with_timebase(double uncertainty, double frequency, double bound)
{
    return hypot(uncertainty, frequency * bound / sqrt(3));
}

void analysis_add_timebase(struct analysis *analysis, double bound)
{
    struct waveform *waveform = &analysis->waveform;
    struct sine_fit *sine = &analysis->sine;
    waveform->frequency_uncertainty =
        with_timebase(waveform->frequency_uncertainty, waveform->frequency, bound);
    sine->frequency_uncertainty =
        with_timebase(sine->frequency_uncertainty, sine->frequency, bound);
}

bool analysis_make(const double *samples, size_t count, double interval, double step, bool alias,
                   struct analysis *analysis)
{
    struct series series = series_of_reals(samples, count, interval);
    struct analysis seen = { 0 };
    series.step = step;
    if (!(alias ? analyse_alias(&series, &seen) : analyse(&series, step, &seen)))
        return false;
    *analysis = seen;
    return true;
}
