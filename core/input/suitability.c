/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suitability.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

/* A sine's crest factor, and how far from it a signal is no sine. */
static const double sine_crest = 1.4142135623730951;
static const double sine_tolerance = 0.02;

static const struct suitability clear = { SUITABILITY_FULL, 0, "" };

static struct suitability told(enum suitability_state state, double share, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static struct suitability told(enum suitability_state state, double share, const char *format, ...)
{
    struct suitability suitability = { state, share, "" };
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(suitability.reason, sizeof suitability.reason, format, arguments);
    va_end(arguments);
    return suitability;
}

struct abilities abilities_unknown(void)
{
    return (struct abilities) { .response = RESPONSE_DC,
                                .bandwidth = NAN,
                                .probe_bandwidth = NAN,
                                .low_frequency = NAN,
                                .high_frequency = NAN,
                                .interval = NAN,
                                .record = NAN };
}

double suitability_combined_bandwidth(double one, double other)
{
    if (isnan(one) || isnan(other))
        return isnan(one) ? other : one;
    return one * other / hypot(one, other);
}

static bool is_alternating(const struct abilities *abilities)
{
    return abilities->response == RESPONSE_AVERAGE || abilities->response == RESPONSE_TRUE_RMS;
}

static double loss(const struct signal_facts *signal_facts, double corner)
{
    return waveshape_loss(signal_facts->shape, aspect_is_extreme(signal_facts->aspect),
                          signal_facts->frequency, corner);
}

double suitability_roll_off(const struct abilities *abilities,
                            const struct signal_facts *signal_facts)
{
    if (aspect_is_steady(signal_facts->aspect) || isnan(signal_facts->frequency))
        return 0;
    return 1 - (1 - loss(signal_facts, abilities->bandwidth)) *
                   (1 - loss(signal_facts, abilities->probe_bandwidth));
}

struct suitability suitability_bandwidth(const struct abilities *abilities,
                                         const struct signal_facts *signal_facts)
{
    double both = suitability_combined_bandwidth(abilities->bandwidth, abilities->probe_bandwidth);
    double share = suitability_roll_off(abilities, signal_facts);
    if (!aspect_is_steady(signal_facts->aspect) && signal_facts->frequency > both)
        return told(SUITABILITY_NONE, NAN, "%g Hz is above %g Hz, the bandwidth of input and probe",
                    signal_facts->frequency, both);
    if (share == 0)
        return clear;
    return told(SUITABILITY_PARTIAL, share,
                "up to %.2g %% are lost at %g Hz by a bandwidth of %g Hz", 100 * share,
                signal_facts->frequency, both);
}

static bool has_sine_crest(double crest)
{
    return fabs(crest - sine_crest) <= sine_tolerance * sine_crest;
}

struct suitability suitability_waveform(const struct abilities *abilities,
                                        const struct signal_facts *signal_facts)
{
    double error = waveshape_average_error(signal_facts->shape, true);
    bool stated = !isnan(signal_facts->crest);
    if (abilities->response != RESPONSE_AVERAGE || aspect_is_steady(signal_facts->aspect))
        return clear;
    if (signal_facts->shape.kind != WAVESHAPE_UNKNOWN && signal_facts->shape.kind != WAVESHAPE_SINE)
        return told(SUITABILITY_NONE, NAN, "average-responding: it reads a %s wrong by %+.3g %%",
                    waveshape_names[signal_facts->shape.kind], 100 * error);
    if (stated && !has_sine_crest(signal_facts->crest))
        return told(SUITABILITY_NONE, NAN,
                    "average-responding: right for a sine only, not with a crest factor of %g",
                    signal_facts->crest);
    if (signal_facts->shape.kind == WAVESHAPE_UNKNOWN && !stated)
        return told(SUITABILITY_NONE, NAN,
                    "average-responding: right for a sine only, and the waveform is not known");
    return clear;
}

static double crest_of(const struct signal_facts *signal_facts)
{
    return isnan(signal_facts->crest) ? waveshape_crest(signal_facts->shape) : signal_facts->crest;
}

/* The index of the error that belongs to a crest factor; `crest_count` beyond the last. */
static size_t crest_row(const struct abilities *abilities, double crest)
{
    size_t i = 0;
    while (i < abilities->crest_count && !(crest <= abilities->crest_errors[i].up_to))
        i++;
    return i;
}

double suitability_crest_share(const struct abilities *abilities,
                               const struct signal_facts *signal_facts)
{
    size_t row = crest_row(abilities, crest_of(signal_facts));
    if (abilities->response != RESPONSE_TRUE_RMS || abilities->crest_count == 0)
        return 0;
    return abilities->crest_errors[row < abilities->crest_count ? row : abilities->crest_count - 1]
        .share;
}

struct suitability suitability_crest(const struct abilities *abilities,
                                     const struct signal_facts *signal_facts)
{
    double crest = crest_of(signal_facts);
    double share = suitability_crest_share(abilities, signal_facts);
    if (abilities->response != RESPONSE_TRUE_RMS || abilities->crest_count == 0)
        return clear;
    if (crest > abilities->crest_errors[abilities->crest_count - 1].up_to)
        return told(SUITABILITY_NONE, NAN, "a crest factor of %.3g is above %g, the most it takes",
                    crest, abilities->crest_errors[abilities->crest_count - 1].up_to);
    if (share == 0)
        return clear;
    if (isnan(crest))
        return told(SUITABILITY_PARTIAL, share, "the crest factor is not known");
    return told(SUITABILITY_PARTIAL, share, "a crest factor of %.3g costs %.2g %% of the reading",
                crest, 100 * share);
}

struct suitability suitability_band(const struct abilities *abilities,
                                    const struct signal_facts *signal_facts)
{
    double f = signal_facts->frequency;
    if (!is_alternating(abilities) || isnan(abilities->low_frequency))
        return clear;
    if (isnan(f))
        return told(SUITABILITY_NONE, NAN,
                    "accurate from %g to %g Hz only, and the frequency is not known",
                    abilities->low_frequency, abilities->high_frequency);
    if (!(f >= abilities->low_frequency && f <= abilities->high_frequency))
        return told(SUITABILITY_NONE, NAN, "%g Hz is outside %g to %g Hz, where its accuracy holds",
                    f, abilities->low_frequency, abilities->high_frequency);
    return clear;
}

struct suitability suitability_sampling(const struct abilities *abilities,
                                        const struct signal_facts *signal_facts)
{
    double f = signal_facts->frequency;
    if (abilities->response != RESPONSE_SAMPLES || isnan(f))
        return clear;
    if (f * abilities->interval * SUITABILITY_SAMPLES > 1)
        return told(SUITABILITY_NONE, NAN, "%.3g samples in a period of %g Hz, expected %g or more",
                    1 / (f * abilities->interval), f, SUITABILITY_SAMPLES);
    if (f * abilities->record < 1)
        return told(SUITABILITY_NONE, NAN, "a record of %g s holds no whole period of %g Hz",
                    abilities->record, f);
    return clear;
}

struct suitability suitability_rate(double rate, double frequency)
{
    if (!(rate > 0) || !(frequency >= 0))
        return told(SUITABILITY_NONE, NAN, "the rate of readings or the frequency is not known");
    if (!(rate > 2 * frequency))
        return told(SUITABILITY_NONE, NAN, "%g readings a second cannot follow %g Hz", rate,
                    frequency);
    return clear;
}
