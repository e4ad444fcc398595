/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "analysis.h"

#include "core/waveform/pulse.h"
#include "core/waveform/waveform.h"
#include "stream.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { RUNS = 21, BLOCK = 16384 };

static int16_t *read_codes(const char *path, size_t *count)
{
    FILE *file = fopen(path, "rb");
    if (!file || fseek(file, 0, SEEK_END) != 0)
        give_up("cannot read %s", path);
    long size = ftell(file);
    rewind(file);
    if (size < (long)sizeof(int16_t))
        give_up("%s holds no codes", path);
    *count = (size_t)size / sizeof(int16_t);
    int16_t *codes = malloc(*count * sizeof *codes);
    if (!codes || fread(codes, sizeof *codes, *count, file) != *count)
        give_up("cannot read %s", path);
    fclose(file);
    return codes;
}

/* The least that any look at the record must do: every sample into a register, and added. */
static long plain_pass(const int16_t *codes, size_t count)
{
    long total = 0;
    for (size_t i = 0; i < count; i += BLOCK) {
        size_t last = count - i < BLOCK ? count : i + BLOCK;
        int sum = 0;
        for (size_t j = i; j < last; j++)
            sum += codes[j];
        total += sum;
    }
    return total;
}

static void print_figures(const struct waveform *waveform)
{
    printf("mean %.17g\nrms %.17g\nac_rms %.17g\n", waveform->mean, waveform->rms,
           waveform->ac_rms);
    printf("minimum %.17g\nmaximum %.17g\npeak_to_peak %.17g\n", waveform->minimum,
           waveform->maximum, waveform->peak_to_peak);
    printf("rectified %.17g\nnoise %.17g\nfrequency %.17g\n", waveform->rectified, waveform->noise,
           waveform->frequency);
}

static void print_pulse(const struct pulse *pulse)
{
    printf("low %.17g\nhigh %.17g\nrise %.17g\nfall %.17g\n", pulse->low, pulse->high,
           pulse->rise.duration, pulse->fall.duration);
    printf("duty %.17g\novershoot %.17g\n", pulse->duty, pulse->rise.after);
}

void benchmark_analysis(const char *path)
{
    size_t count;
    int16_t *codes = read_codes(path, &count);
    double plain = INFINITY, full = INFINITY;
    long sum = 0;
    struct series series = series_of_codes(codes, count, 1.0, 0.0, 1.0);
    struct waveform waveform;
    struct pulse pulse;
    enum wave_reason reason = WAVE_NONE;
    for (size_t i = 0; i < RUNS; i++) {
        double begin = seconds_now();
        sum += plain_pass(codes, count);
        plain = fmin(plain, seconds_now() - begin);
        begin = seconds_now();
        if (!waveform_measure_series(&series, &waveform))
            give_up("%s cannot be measured", path);
        reason = pulse_measure(&series, &waveform, &pulse);
        full = fmin(full, seconds_now() - begin);
    }
    printf("plain %.9f\nfull %.9f\nsum %ld\n", plain, full, sum);
    print_figures(&waveform);
    if (reason == WAVE_NONE)
        print_pulse(&pulse);
    free(codes);
}
