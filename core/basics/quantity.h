/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What can be measured: a quantity is an aspect of a signal (its mean, its
 * RMS, its peaks) in one dimension (voltage, current, ...). The tip of the
 * probe has a quantity; so has the instrument's input, and a shunt or a
 * transducer stands between the two.
 */
#ifndef GRADUS_CORE_QUANTITY_H
#define GRADUS_CORE_QUANTITY_H

#include <stdbool.h>

/* Which property of the signal is wanted. */
enum aspect {
    ASPECT_DC,           /* the mean */
    ASPECT_AC,           /* RMS of what is left when the mean is taken away */
    ASPECT_RMS,          /* RMS of everything, mean included */
    ASPECT_PEAK_TO_PEAK, /* largest minus smallest */
    ASPECT_MAXIMUM,
    ASPECT_MINIMUM,
    ASPECT_WHOLE /* resistance, and what a signal's shape is, have no aspects */
};

enum dimension {
    DIMENSION_VOLTAGE,
    DIMENSION_CURRENT,
    DIMENSION_RESISTANCE,
    DIMENSION_FREQUENCY,
    DIMENSION_TIME,
    DIMENSION_RATIO, /* in per cent */
    DIMENSION_ANGLE, /* in degrees */
    DIMENSION_SIGNAL /* whatever unit the transducer has at its tip */
};

/* What a scope has a quantity from. */
enum quantity_source {
    SOURCE_LEVEL, /* the values of its samples, as a meter has it */
    SOURCE_SHAPE, /* the shape of a record */
    SOURCE_RHYTHM, /* the shape as well, of which the signal's level is no part: ac coupling may take that away */
    SOURCE_PAIR /* the shapes of two inputs, recorded together */
};

/* Every quantity once: name, text in settings and on the wire, aspect, dimension, what a scope has it from. */
#define QUANTITY_TABLE(X)                                                                          \
    X(DC_VOLTAGE, "dc voltage", DC, VOLTAGE, LEVEL)                                                \
    X(AC_VOLTAGE, "ac voltage", AC, VOLTAGE, LEVEL)                                                \
    X(RMS_VOLTAGE, "rms voltage", RMS, VOLTAGE, LEVEL)                                             \
    X(PEAK_TO_PEAK_VOLTAGE, "peak-to-peak voltage", PEAK_TO_PEAK, VOLTAGE, LEVEL)                  \
    X(MAXIMUM_VOLTAGE, "maximum voltage", MAXIMUM, VOLTAGE, LEVEL)                                 \
    X(MINIMUM_VOLTAGE, "minimum voltage", MINIMUM, VOLTAGE, LEVEL)                                 \
    X(DC_CURRENT, "dc current", DC, CURRENT, LEVEL)                                                \
    X(AC_CURRENT, "ac current", AC, CURRENT, LEVEL)                                                \
    X(RMS_CURRENT, "rms current", RMS, CURRENT, LEVEL)                                             \
    X(PEAK_TO_PEAK_CURRENT, "peak-to-peak current", PEAK_TO_PEAK, CURRENT, LEVEL)                  \
    X(MAXIMUM_CURRENT, "maximum current", MAXIMUM, CURRENT, LEVEL)                                 \
    X(MINIMUM_CURRENT, "minimum current", MINIMUM, CURRENT, LEVEL)                                 \
    X(RESISTANCE, "resistance", WHOLE, RESISTANCE, LEVEL)                                          \
    X(RESISTANCE_4_WIRE, "resistance 4-wire", WHOLE, RESISTANCE, LEVEL)                            \
    X(FREQUENCY, "frequency", WHOLE, FREQUENCY, RHYTHM)                                            \
    X(PERIOD, "period", WHOLE, TIME, RHYTHM)                                                       \
    X(DUTY, "duty factor", WHOLE, RATIO, SHAPE)                                                    \
    X(PULSE_WIDTH, "pulse width", WHOLE, TIME, SHAPE)                                              \
    X(RISE_TIME, "rise time", WHOLE, TIME, SHAPE)                                                  \
    X(FALL_TIME, "fall time", WHOLE, TIME, SHAPE)                                                  \
    X(OVERSHOOT, "overshoot", WHOLE, RATIO, SHAPE)                                                 \
    X(DISTORTION, "harmonic distortion", WHOLE, RATIO, RHYTHM)                                     \
    X(DELAY, "delay", WHOLE, TIME, PAIR)                                                           \
    X(PHASE, "phase", WHOLE, ANGLE, PAIR)                                                          \
    X(AMPLITUDE_VOLTAGE, "amplitude voltage", PEAK_TO_PEAK, VOLTAGE, SHAPE)                        \
    X(AMPLITUDE_CURRENT, "amplitude current", PEAK_TO_PEAK, CURRENT, SHAPE)                        \
    X(AMPLITUDE_SIGNAL, "amplitude signal", PEAK_TO_PEAK, SIGNAL, SHAPE)                           \
    X(DC_SIGNAL, "dc signal", DC, SIGNAL, LEVEL)                                                   \
    X(AC_SIGNAL, "ac signal", AC, SIGNAL, LEVEL)                                                   \
    X(RMS_SIGNAL, "rms signal", RMS, SIGNAL, LEVEL)                                                \
    X(PEAK_TO_PEAK_SIGNAL, "peak-to-peak signal", PEAK_TO_PEAK, SIGNAL, LEVEL)                     \
    X(MAXIMUM_SIGNAL, "maximum signal", MAXIMUM, SIGNAL, LEVEL)                                    \
    X(MINIMUM_SIGNAL, "minimum signal", MINIMUM, SIGNAL, LEVEL)

enum quantity {
#define X(name, text, aspect, dimension, source) QUANTITY_##name,
    QUANTITY_TABLE(X)
#undef X
        QUANTITY_COUNT
};

/* The text of a quantity, for example "dc voltage". Never NULL. */
const char *quantity_name(enum quantity quantity);

/* The aspect of the signal, and the dimension, that a quantity stands for. */
enum aspect quantity_aspect(enum quantity quantity);
enum dimension quantity_dimension(enum quantity quantity);

/*
 * Whether a scope has the quantity from a record's shape: of frequency, times, duty factor, overshoot,
 * distortion, and of the amplitude, which is from state to state and not from peak to peak.
 */
bool quantity_is_shape(enum quantity quantity);

/* Whether it is between two inputs, recorded together: delay, phase. */
bool quantity_is_pair(enum quantity quantity);

/* Whether a figure of shape has nothing to do with the signal's level, so that ac coupling may take that away. */
bool quantity_ignores_slow(enum quantity quantity);

/* Whether an aspect is formed over all samples: dc, ac, RMS. */
bool aspect_averages(enum aspect aspect);

/* Whether an aspect is the root of a mean square: ac, RMS. */
bool aspect_is_rms(enum aspect aspect);

/* Whether an aspect is that of single samples, the largest and the smallest. */
bool aspect_is_extreme(enum aspect aspect);

/* Which end of the signal an aspect is: 1 the maximum, -1 the minimum, 0 neither. */
int aspect_end(enum aspect aspect);

/* Whether the signal may stand still while the aspect is seen: dc, resistance, frequency. */
bool aspect_is_steady(enum aspect aspect);

/* Whether an aspect can be seen through ac coupling, which takes the mean away: ac, peak-to-peak. */
bool aspect_ignores_mean(enum aspect aspect);

/* Whether an aspect is never negative, whichever way round the signal is: ac, RMS, peak-to-peak. */
bool aspect_has_no_sign(enum aspect aspect);

/* The aspect of the inverted signal that belongs to one: of the minimum the maximum; most belong to themselves. */
enum aspect aspect_inverted(enum aspect aspect);

/* The first quantity with this aspect in this dimension (resistance on two wires, peak to peak); false when the pair does not exist. */
bool quantity_of(enum aspect aspect, enum dimension dimension, enum quantity *quantity);

/* Unit symbol of a dimension: "V", "A", "Ω", "Hz", "s", "%", "°"; "" for DIMENSION_SIGNAL. */
const char *dimension_unit(enum dimension dimension);

/*
 * The name of the quantity that a word of the workshop stands for: "ripple" for "peak-to-peak
 * voltage". NULL when it is none of those words; case does not matter.
 */
const char *quantity_guess(const char *word);

#endif
