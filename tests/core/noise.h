/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Draws for traces, from random(): seed it with srandom(). */
#ifndef GRADUS_TESTS_NOISE_H
#define GRADUS_TESTS_NOISE_H

#include <stdlib.h>

/* A uniform draw, 0 ... 1. */
static inline double uniform(void)
{
    return (double)random() / 2147483648.0;
}

/* Roughly normal noise of unit sigma: twelve uniform draws. */
static inline double noise(void)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++)
        sum += uniform();
    return sum;
}

#endif
