/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What core/ says of a record, for blackbox_analysis.py to compare:
 *
 *     analyse reals|codes SCALE OFFSET INTERVAL <SAMPLES
 *
 * Samples are doubles or 16-bit codes in native order; prints one "name value" a line.
 */
#include "core/waveform/distortion.h"
#include "core/waveform/pulse.h"
#include "core/waveform/sine_fit.h"
#include "core/waveform/waveform.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/spectrum_room.h"

enum { MOST = 1 << 20 };

static double reals[MOST];
static int16_t codes[MOST];
static double spectral[MOST];

static void show(const char *name, double value)
{
    printf("%s %.17g\n", name, value);
}

static void show_waveform(const struct waveform *waveform)
{
    show("mean", waveform->mean);
    show("rms", waveform->rms);
    show("ac_rms", waveform->ac_rms);
    show("rectified", waveform->rectified);
    show("minimum", waveform->minimum);
    show("maximum", waveform->maximum);
    show("noise", waveform->noise);
    show("frequency", waveform->frequency);
    show("periods", waveform->periods);
    show("crest_factor", waveform->crest_factor);
    show("form_factor", waveform->form_factor);
}

static void show_fit(const struct series *series, double start)
{
    struct sine_fit fit;
    enum wave_reason reason = sine_fit_four(series, start, &fit);
    printf("fit_reason %d\n", (int)reason);
    if (reason == WAVE_NONE) {
        show("fit_frequency", fit.frequency);
        show("fit_amplitude", fit.amplitude);
        show("fit_phase", fit.phase);
        show("fit_offset", fit.offset);
        show("fit_residual", fit.residual);
    }
}

static void show_spectra(const struct series *series)
{
    for (int i = 0; i < WINDOW_COUNT; i++) {
        struct spectrum spectrum;
        if (spectrum_in(series, (enum window)i, spectral, &spectrum) == WAVE_NONE) {
            printf("used %zu\n", spectrum.used);
            for (size_t k = 0; k < spectrum.bins; k++)
                printf("spectrum_%d_%zu %.17g\n", i, k, spectrum.amplitude[k]);
        }
    }
}

int main(int argc, char **argv)
{
    if (argc != 5)
        return 2;
    double scale = strtod(argv[2], NULL), offset = strtod(argv[3], NULL);
    double interval = strtod(argv[4], NULL);
    bool are_codes = strcmp(argv[1], "codes") == 0;
    size_t count = are_codes ? fread(codes, sizeof codes[0], MOST, stdin)
                             : fread(reals, sizeof reals[0], MOST, stdin);
    struct series series = are_codes ? series_of_codes(codes, count, scale, offset, interval)
                                     : series_of_reals(reals, count, interval);
    struct waveform waveform;
    if (!waveform_measure_series(&series, &waveform)) {
        puts("refused 1");
        return 0;
    }
    show_waveform(&waveform);
    struct pulse pulse;
    enum wave_reason reason = pulse_measure(&series, &waveform, &pulse);
    printf("pulse_reason %d\n", (int)reason);
    if (reason == WAVE_NONE) {
        show("low", pulse.low);
        show("high", pulse.high);
    }
    show_fit(&series, waveform.frequency);
    show_spectra(&series);
    return 0;
}
