/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Windows for spectra: sums of cosines, periodic form,
 *
 *     w[i] = a0 - a1 cos(2 pi i / n) + a2 cos(4 pi i / n) - ...
 *
 * Coefficients: Harris, Proc. IEEE 66 (1978) 51 (Hann, Hamming, 4-term
 * Blackman-Harris); D'Antona and Ferrero, Digital Signal Processing for
 * Measurement Systems (Springer, 2006), p. 70 (flat top, as scipy 1.10,
 * signal.windows.flattop, quotes it).
 */
#ifndef GRADUS_CORE_WINDOW_H
#define GRADUS_CORE_WINDOW_H

#include <stddef.h>

enum window {
    WINDOW_RECTANGULAR,
    WINDOW_HANN,
    WINDOW_HAMMING,
    WINDOW_BLACKMAN_HARRIS,
    WINDOW_FLAT_TOP,
    WINDOW_COUNT
};

/* The weight of sample i of n, n > 0. */
double window_at(enum window window, size_t i, size_t n);

/* Coherent gain: the mean weight, by which a sine's amplitude appears smaller. */
double window_gain(enum window window);

/* Equivalent noise bandwidth in bins: n sum(w^2) / sum(w)^2. */
double window_noise_bandwidth(enum window window);

/* Bins on either side of a sine's own that its main lobe reaches to. */
size_t window_reach(enum window window);

#endif
