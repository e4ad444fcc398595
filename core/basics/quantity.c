/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "quantity.h"

#include <stddef.h>
#include <strings.h>

struct entry {
    const char *text;
    enum aspect aspect;
    enum dimension dimension;
    enum quantity_source source;
};

static const struct entry entries[QUANTITY_COUNT] = {
#define X(name, text, aspect, dimension, source)                                                   \
    [QUANTITY_##name] = { text, ASPECT_##aspect, DIMENSION_##dimension, SOURCE_##source },
    QUANTITY_TABLE(X)
#undef X
};

const char *quantity_name(enum quantity quantity)
{
    if ((unsigned int)quantity >= (unsigned int)QUANTITY_COUNT)
        return "unknown quantity";
    return entries[quantity].text;
}

enum aspect quantity_aspect(enum quantity quantity)
{
    return entries[quantity].aspect;
}

enum dimension quantity_dimension(enum quantity quantity)
{
    return entries[quantity].dimension;
}

bool quantity_is_shape(enum quantity quantity)
{
    return entries[quantity].source != SOURCE_LEVEL;
}

bool quantity_is_pair(enum quantity quantity)
{
    return entries[quantity].source == SOURCE_PAIR;
}

bool quantity_ignores_slow(enum quantity quantity)
{
    return entries[quantity].source == SOURCE_RHYTHM;
}

static const struct traits {
    bool averages;
    bool rms;
    bool extreme;
    bool steady;
    bool ignores_mean;
    bool without_sign;
    int end;
    enum aspect inverted;
} traits[] = {
    [ASPECT_DC] = { .averages = true, .steady = true, .inverted = ASPECT_DC },
    [ASPECT_AC] = { .averages = true,
                    .rms = true,
                    .ignores_mean = true,
                    .without_sign = true,
                    .inverted = ASPECT_AC },
    [ASPECT_RMS] = { .averages = true, .rms = true, .without_sign = true, .inverted = ASPECT_RMS },
    [ASPECT_PEAK_TO_PEAK] = { .extreme = true,
                              .ignores_mean = true,
                              .without_sign = true,
                              .inverted = ASPECT_PEAK_TO_PEAK },
    [ASPECT_MAXIMUM] = { .extreme = true, .end = 1, .inverted = ASPECT_MINIMUM },
    [ASPECT_MINIMUM] = { .extreme = true, .end = -1, .inverted = ASPECT_MAXIMUM },
    [ASPECT_WHOLE] = { .steady = true, .inverted = ASPECT_WHOLE },
};

bool aspect_averages(enum aspect aspect)
{
    return traits[aspect].averages;
}

bool aspect_is_rms(enum aspect aspect)
{
    return traits[aspect].rms;
}

bool aspect_is_extreme(enum aspect aspect)
{
    return traits[aspect].extreme;
}

int aspect_end(enum aspect aspect)
{
    return traits[aspect].end;
}

bool aspect_is_steady(enum aspect aspect)
{
    return traits[aspect].steady;
}

bool aspect_ignores_mean(enum aspect aspect)
{
    return traits[aspect].ignores_mean;
}

bool aspect_has_no_sign(enum aspect aspect)
{
    return traits[aspect].without_sign;
}

enum aspect aspect_inverted(enum aspect aspect)
{
    return traits[aspect].inverted;
}

bool quantity_of(enum aspect aspect, enum dimension dimension, enum quantity *quantity)
{
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        if (entries[i].aspect == aspect && entries[i].dimension == dimension) {
            *quantity = (enum quantity)i;
            return true;
        }
    }
    return false;
}

const char *dimension_unit(enum dimension dimension)
{
    switch (dimension) {
    case DIMENSION_VOLTAGE:
        return "V";
    case DIMENSION_CURRENT:
        return "A";
    case DIMENSION_RESISTANCE:
        return "Ω";
    case DIMENSION_FREQUENCY:
        return "Hz";
    case DIMENSION_TIME:
        return "s";
    case DIMENSION_RATIO:
        return "%";
    case DIMENSION_ANGLE:
        return "°";
    case DIMENSION_SIGNAL:
        break;
    }
    return "";
}

const char *quantity_guess(const char *word)
{
    /* Common practice, no source. */
    static const struct {
        const char *word;
        enum quantity quantity;
    } words[] = {
        { "ripple", QUANTITY_PEAK_TO_PEAK_VOLTAGE },
        { "vpp", QUANTITY_PEAK_TO_PEAK_VOLTAGE },
        { "peak to peak", QUANTITY_PEAK_TO_PEAK_VOLTAGE },
        { "dcv", QUANTITY_DC_VOLTAGE },
        { "vdc", QUANTITY_DC_VOLTAGE },
        { "voltage", QUANTITY_DC_VOLTAGE },
        { "volts", QUANTITY_DC_VOLTAGE },
        { "mean", QUANTITY_DC_VOLTAGE },
        { "mean voltage", QUANTITY_DC_VOLTAGE },
        { "average", QUANTITY_DC_VOLTAGE },
        { "acv", QUANTITY_AC_VOLTAGE },
        { "vac", QUANTITY_AC_VOLTAGE },
        { "rms", QUANTITY_RMS_VOLTAGE },
        { "vrms", QUANTITY_RMS_VOLTAGE },
        { "peak", QUANTITY_MAXIMUM_VOLTAGE },
        { "peak voltage", QUANTITY_MAXIMUM_VOLTAGE },
        { "vmax", QUANTITY_MAXIMUM_VOLTAGE },
        { "vmin", QUANTITY_MINIMUM_VOLTAGE },
        { "current", QUANTITY_DC_CURRENT },
        { "amps", QUANTITY_DC_CURRENT },
        { "adc", QUANTITY_DC_CURRENT },
        { "aac", QUANTITY_AC_CURRENT },
        { "ohms", QUANTITY_RESISTANCE },
        { "ohm", QUANTITY_RESISTANCE },
        { "4-wire", QUANTITY_RESISTANCE_4_WIRE },
        { "4-wire resistance", QUANTITY_RESISTANCE_4_WIRE },
        { "hz", QUANTITY_FREQUENCY },
        { "freq", QUANTITY_FREQUENCY },
        { "duty", QUANTITY_DUTY },
        { "duty cycle", QUANTITY_DUTY },
        { "width", QUANTITY_PULSE_WIDTH },
        { "risetime", QUANTITY_RISE_TIME },
        { "falltime", QUANTITY_FALL_TIME },
        { "thd", QUANTITY_DISTORTION },
        { "distortion", QUANTITY_DISTORTION },
        { "amplitude", QUANTITY_AMPLITUDE_VOLTAGE },
    };

    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcasecmp(word, words[i].word) == 0)
            return quantity_name(words[i].quantity);
    return NULL;
}
