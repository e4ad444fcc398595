/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "window.h"

#include <math.h>

enum { MOST_TERMS = 5 };

static const double pi = 3.14159265358979324;

static const struct {
    size_t terms;
    double a[MOST_TERMS];
} windows[WINDOW_COUNT] = {
    [WINDOW_RECTANGULAR] = { 1, { 1.0 } },
    [WINDOW_HANN] = { 2, { 0.5, 0.5 } },
    [WINDOW_HAMMING] = { 2, { 0.54, 0.46 } },
    [WINDOW_BLACKMAN_HARRIS] = { 4, { 0.35875, 0.48829, 0.14128, 0.01168 } },
    [WINDOW_FLAT_TOP] = { 5, { 0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368 } },
};

double window_at(enum window window, size_t i, size_t n)
{
    double weight = 0.0, sign = 1.0;
    for (size_t k = 0; k < windows[window].terms; k++) {
        weight += sign * windows[window].a[k] * cos(2.0 * pi * (double)(k * i % n) / (double)n);
        sign = -sign;
    }
    return weight;
}

double window_gain(enum window window)
{
    return windows[window].a[0];
}

double window_noise_bandwidth(enum window window)
{
    double gain = window_gain(window);
    double square = gain * gain;
    for (size_t k = 1; k < windows[window].terms; k++)
        square += windows[window].a[k] * windows[window].a[k] / 2.0;
    return square / (gain * gain);
}

size_t window_reach(enum window window)
{
    return windows[window].terms;
}
