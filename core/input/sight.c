/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sight.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

/* A sine's crest factor, and how far from it a signal is no sine. */
static const double sine_crest = 1.4142135623730951;
static const double sine_tolerance = 0.02;

static const struct sight clear = { SIGHT_CLEAR, 0, "" };

static struct sight told(enum sight_state state, double share, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static struct sight told(enum sight_state state, double share, const char *format, ...)
{
    struct sight sight = { state, share, "" };
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(sight.reason, sizeof sight.reason, format, arguments);
    va_end(arguments);
    return sight;
}

struct eye eye_unknown(void)
{
    return (struct eye) { .response = RESPONSE_DC,
                          .bandwidth = NAN,
                          .probe_bandwidth = NAN,
                          .low_frequency = NAN,
                          .high_frequency = NAN,
                          .interval = NAN,
                          .record = NAN };
}

double sight_combined_bandwidth(double one, double other)
{
    if (isnan(one) || isnan(other))
        return isnan(one) ? other : one;
    return one * other / hypot(one, other);
}

static bool is_alternating(const struct eye *eye)
{
    return eye->response == RESPONSE_AVERAGE || eye->response == RESPONSE_TRUE_RMS;
}

static double loss(const struct spectacle *spectacle, double corner)
{
    return waveshape_loss(spectacle->shape, aspect_is_extreme(spectacle->aspect),
                          spectacle->frequency, corner);
}

double sight_roll_off(const struct eye *eye, const struct spectacle *spectacle)
{
    if (aspect_is_steady(spectacle->aspect) || isnan(spectacle->frequency))
        return 0;
    return 1 - (1 - loss(spectacle, eye->bandwidth)) * (1 - loss(spectacle, eye->probe_bandwidth));
}

struct sight sight_bandwidth(const struct eye *eye, const struct spectacle *spectacle)
{
    double both = sight_combined_bandwidth(eye->bandwidth, eye->probe_bandwidth);
    double share = sight_roll_off(eye, spectacle);
    if (!aspect_is_steady(spectacle->aspect) && spectacle->frequency > both)
        return told(SIGHT_BLIND, NAN, "%g Hz is above %g Hz, the bandwidth of input and probe",
                    spectacle->frequency, both);
    if (share == 0)
        return clear;
    return told(SIGHT_UNCERTAIN, share, "up to %.2g %% are lost at %g Hz by a bandwidth of %g Hz",
                100 * share, spectacle->frequency, both);
}

static bool has_sine_crest(double crest)
{
    return fabs(crest - sine_crest) <= sine_tolerance * sine_crest;
}

struct sight sight_waveform(const struct eye *eye, const struct spectacle *spectacle)
{
    double error = waveshape_average_error(spectacle->shape, true);
    bool stated = !isnan(spectacle->crest);
    if (eye->response != RESPONSE_AVERAGE || aspect_is_steady(spectacle->aspect))
        return clear;
    if (spectacle->shape.kind != WAVESHAPE_UNKNOWN && spectacle->shape.kind != WAVESHAPE_SINE)
        return told(SIGHT_BLIND, NAN, "average-responding: it reads a %s wrong by %+.3g %%",
                    waveshape_names[spectacle->shape.kind], 100 * error);
    if (stated && !has_sine_crest(spectacle->crest))
        return told(SIGHT_BLIND, NAN,
                    "average-responding: right for a sine only, not with a crest factor of %g",
                    spectacle->crest);
    if (spectacle->shape.kind == WAVESHAPE_UNKNOWN && !stated)
        return told(SIGHT_BLIND, NAN,
                    "average-responding: right for a sine only, and the waveform is not known");
    return clear;
}

static double crest_of(const struct spectacle *spectacle)
{
    return isnan(spectacle->crest) ? waveshape_crest(spectacle->shape) : spectacle->crest;
}

/* The index of the error that belongs to a crest factor; `crest_count` beyond the last. */
static size_t crest_row(const struct eye *eye, double crest)
{
    size_t i = 0;
    while (i < eye->crest_count && !(crest <= eye->crest_errors[i].up_to))
        i++;
    return i;
}

double sight_crest_share(const struct eye *eye, const struct spectacle *spectacle)
{
    size_t row = crest_row(eye, crest_of(spectacle));
    if (eye->response != RESPONSE_TRUE_RMS || eye->crest_count == 0)
        return 0;
    return eye->crest_errors[row < eye->crest_count ? row : eye->crest_count - 1].share;
}

struct sight sight_crest(const struct eye *eye, const struct spectacle *spectacle)
{
    double crest = crest_of(spectacle);
    double share = sight_crest_share(eye, spectacle);
    if (eye->response != RESPONSE_TRUE_RMS || eye->crest_count == 0)
        return clear;
    if (crest > eye->crest_errors[eye->crest_count - 1].up_to)
        return told(SIGHT_BLIND, NAN, "a crest factor of %.3g is above %g, the most it takes",
                    crest, eye->crest_errors[eye->crest_count - 1].up_to);
    if (share == 0)
        return clear;
    if (isnan(crest))
        return told(SIGHT_UNCERTAIN, share, "the crest factor is not known");
    return told(SIGHT_UNCERTAIN, share, "a crest factor of %.3g costs %.2g %% of the reading",
                crest, 100 * share);
}

struct sight sight_band(const struct eye *eye, const struct spectacle *spectacle)
{
    double f = spectacle->frequency;
    if (!is_alternating(eye) || isnan(eye->low_frequency))
        return clear;
    if (isnan(f))
        return told(SIGHT_BLIND, NAN,
                    "accurate from %g to %g Hz only, and the frequency is not known",
                    eye->low_frequency, eye->high_frequency);
    if (!(f >= eye->low_frequency && f <= eye->high_frequency))
        return told(SIGHT_BLIND, NAN, "%g Hz is outside %g to %g Hz, where its accuracy holds", f,
                    eye->low_frequency, eye->high_frequency);
    return clear;
}

struct sight sight_sampling(const struct eye *eye, const struct spectacle *spectacle)
{
    double f = spectacle->frequency;
    if (eye->response != RESPONSE_SAMPLES || isnan(f))
        return clear;
    if (f * eye->interval * SIGHT_SAMPLES > 1)
        return told(SIGHT_BLIND, NAN, "%.3g samples in a period of %g Hz, expected %g or more",
                    1 / (f * eye->interval), f, SIGHT_SAMPLES);
    if (f * eye->record < 1)
        return told(SIGHT_BLIND, NAN, "a record of %g s holds no whole period of %g Hz",
                    eye->record, f);
    return clear;
}

struct sight sight_rate(double rate, double frequency)
{
    if (!(rate > 0) || !(frequency >= 0))
        return told(SIGHT_BLIND, NAN, "the rate of readings or the frequency is not known");
    if (!(rate > 2 * frequency))
        return told(SIGHT_BLIND, NAN, "%g readings a second cannot follow %g Hz", rate, frequency);
    return clear;
}
