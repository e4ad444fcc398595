/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shapes that a periodic signal is said to have, and what follows from a
 * shape: form and crest factor, what a meter shows that rectifies, averages
 * and is marked in RMS of a sine, and what a first-order low-pass
 * takes away. Ideal shapes, with the mean taken away as an ac function does,
 * unless a function says otherwise.
 */
#ifndef GRADUS_CORE_WAVESHAPE_H
#define GRADUS_CORE_WAVESHAPE_H

#include <stdbool.h>

enum waveshape_kind {
    WAVESHAPE_UNKNOWN,
    WAVESHAPE_SINE,
    WAVESHAPE_SQUARE,
    WAVESHAPE_TRIANGLE,
    WAVESHAPE_SAWTOOTH,
    WAVESHAPE_HALF_WAVE, /* sine, one half cut away */
    WAVESHAPE_FULL_WAVE, /* sine, one half turned over */
    WAVESHAPE_PULSE      /* two levels; `duty` of the period on the upper one */
};

struct waveshape {
    enum waveshape_kind kind;
    double duty; /* WAVESHAPE_PULSE only: 0 < duty < 1 */
};

/* The names of all kinds in the order of the enum, NULL at the end; the first is "unknown". */
extern const char *const waveshape_names[];

/* Constants of a shape whose largest value, unipolar ones from zero, is 1. */
struct waveshape_figures {
    double mean;
    double rms;             /* of everything */
    double ac_rms;          /* of what is left without the mean */
    double magnitude;       /* mean of the magnitude */
    double ac_magnitude;    /* the same without the mean */
    double ac_peak;         /* largest |value| without the mean */
    double ac_peak_to_peak; /* largest minus smallest */
};

/* All NAN for a shape that is not known, or a duty out of bounds. */
struct waveshape_figures waveshape_figures(struct waveshape shape);

/* Peak over RMS without the mean; NAN when not known. */
double waveshape_crest(struct waveshape shape);

/*
 * What an average-responding ac function shows over the RMS that is there,
 * minus 1: 0 for a sine, +0.1107 for a square. `coupled` says whether the mean is
 * taken away before it rectifies (and from the RMS it is held against).
 * pi / (2 sqrt 2) times mean magnitude over RMS. NAN when not known.
 */
double waveshape_average_error(struct waveshape shape, bool coupled);

/*
 * What a first-order low-pass of corner `corner` hertz takes from a signal
 * with fundamental `frequency` hertz, as a share 0 ... 1 of its RMS (mean taken
 * away), or of its peak-to-peak value when `peaks`. Exact for sine, square,
 * pulse and triangle; for the others an upper bound. A shape that is not known
 * has the most that any but a pulse would lose. 0 when the corner is NAN
 * or infinite, 1 when the frequency is not known.
 */
double waveshape_loss(struct waveshape shape, bool peaks, double frequency, double corner);

#endif
