/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether an instrument can see a signal: it can, it can with a share of
 * uncertainty more, or it cannot because of this. Bandwidth of instrument and
 * probe, waveform and crest factor for ac functions, sample rate and length
 * of record for scopes, rate of readings.
 */
#ifndef GRADUS_CORE_SUITABILITY_H
#define GRADUS_CORE_SUITABILITY_H

#include "core/basics/quantity.h"
#include "waveshape.h"

#include <stdbool.h>
#include <stddef.h>

/* How a function responds to what is no dc. */
enum response { RESPONSE_DC, RESPONSE_AVERAGE, RESPONSE_TRUE_RMS, RESPONSE_SAMPLES };

/* Up to this crest factor a true RMS function has this error more, a share of the reading. */
struct crest_error {
    double up_to;
    double share;
};

enum { SUITABILITY_CREST_ERRORS = 8 };

/* What looks. NAN where a figure is not stated. */
struct abilities {
    enum response response;
    double bandwidth;       /* -3 dB of the instrument's input, hertz */
    double probe_bandwidth; /* -3 dB of the probe, hertz */
    double low_frequency;   /* band in which an ac function's accuracy holds, hertz */
    double high_frequency;
    size_t crest_count;
    struct crest_error crest_errors[SUITABILITY_CREST_ERRORS]; /* ascending up_to */
    double interval; /* RESPONSE_SAMPLES: seconds from sample to sample */
    double record;   /* RESPONSE_SAMPLES: seconds that a record lasts */
};

/* An abilities about which nothing is stated. */
struct abilities abilities_unknown(void);

/* What is looked at. */
struct signal_facts {
    enum aspect aspect;
    struct waveshape shape;
    double frequency; /* fundamental, hertz; NAN when not known */
    double crest;     /* peak over RMS, mean taken away; NAN: that of the shape */
};

enum suitability_state { SUITABILITY_FULL, SUITABILITY_PARTIAL, SUITABILITY_NONE };

struct suitability {
    enum suitability_state state;
    double share;     /* bound on the relative error that this adds, >= 0; NAN when blind */
    char reason[160]; /* why it is blind or uncertain; empty when clear */
};

/*
 * Roll-off of instrument and probe together, both taken as first order: of all
 * responses that are flat and -3 dB at the same frequency, the one that takes
 * most below it. Blind above the -3 dB frequency of both together (a sine loses
 * more than 1 - 1/sqrt(2)). A dc aspect has nothing to lose.
 */
struct suitability suitability_bandwidth(const struct abilities *abilities,
                                         const struct signal_facts *signal_facts);

/* The share of suitability_bandwidth() alone, without a judgement; 0 when the frequency is not known. */
double suitability_roll_off(const struct abilities *abilities,
                            const struct signal_facts *signal_facts);

/* The share of suitability_crest() alone; beyond the last crest factor the last one's. */
double suitability_crest_share(const struct abilities *abilities,
                               const struct signal_facts *signal_facts);

/* -3 dB of two first-order responses in a row; a NAN does not limit. NAN: no limit. */
double suitability_combined_bandwidth(double one, double other);

/*
 * An average-responding function reads a sine rightly and nothing else: blind to every
 * other shape (the reason says by how much it would be wrong, waveshape.h), and to
 * one that is not known unless the crest factor is that of a sine.
 */
struct suitability suitability_waveform(const struct abilities *abilities,
                                        const struct signal_facts *signal_facts);

/*
 * The additional error of a true RMS function at the signal's crest factor.
 * Blind beyond the last one stated; a crest factor that is not known has
 * the largest error.
 */
struct suitability suitability_crest(const struct abilities *abilities,
                                     const struct signal_facts *signal_facts);

/* Whether the frequency is in the band in which an ac function's accuracy holds. */
struct suitability suitability_band(const struct abilities *abilities,
                                    const struct signal_facts *signal_facts);

/*
 * Samples and record: blind with fewer than `SUITABILITY_SAMPLES` samples in a
 * period (more than two are needed to tell it from an alias at all), and with
 * less than one period in the record. What falls between the samples of a
 * sine's peak, 1 - cos(pi f dt), is reported by the record itself.
 */
struct suitability suitability_sampling(const struct abilities *abilities,
                                        const struct signal_facts *signal_facts);

/* Common practice, no source. */
#define SUITABILITY_SAMPLES 2.5

/*
 * Whether `rate` readings a second can follow a signal of `frequency`: more
 * than two a period, else what is seen may be an alias.
 */
struct suitability suitability_rate(double rate, double frequency);

#endif
