/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Why a waveform has no such figure: one list, so that no number stands where a reason belongs. */
#ifndef GRADUS_CORE_WAVE_REASON_H
#define GRADUS_CORE_WAVE_REASON_H

/* Every reason once: name, and the plain words that stand on the wire and in messages. */
#define WAVE_REASON_TABLE(X)                                                                       \
    X(NONE, "none")                                                                                \
    X(BAD_SAMPLES, "samples that are not finite, or too few of them")                              \
    X(CLIPPED, "clipped at the edge of the range")                                                 \
    X(FLAT, "flat within a few steps of the converter")                                            \
    X(NOISY, "not above its own noise")                                                            \
    X(FEW_PERIODS, "too few periods in the record")                                                \
    X(FEW_SAMPLES, "too few samples for what changes so fast")                                     \
    X(NOT_PERIODIC, "not periodic")                                                                \
    X(ALIAS, "an alias: sampled too slowly for the frequency that is there")                       \
    X(NO_STATES, "does not rest at two levels")                                                    \
    X(NO_EDGE, "no whole transition in the record")                                                \
    X(NO_RISE_TIME, "the instrument's own rise time is not known")                                 \
    X(OWN_RISE_TIME, "as fast as the instrument's own rise time")                                  \
    X(NO_FIT, "the sine fit did not converge")                                                     \
    X(NOT_SINE, "not a sine")                                                                      \
    X(NO_MEMORY, "not enough memory to work it out")

enum wave_reason {
#define X(name, words) WAVE_##name,
    WAVE_REASON_TABLE(X)
#undef X
        WAVE_REASON_COUNT
};

/* The words of a reason. Never NULL. */
const char *wave_reason_text(enum wave_reason reason);

#endif
