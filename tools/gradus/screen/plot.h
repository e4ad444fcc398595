/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A waveform drawn in text. Every column shows the smallest and largest value
 * that falls into it, neighbours joined, so that a spike of one sample is
 * seen however many samples share its column. Braille dots give two columns
 * and four rows a character; plain ASCII gives one of each.
 */
#ifndef GRADUS_TOOLS_PLOT_H
#define GRADUS_TOOLS_PLOT_H

#include <stdbool.h>
#include <stddef.h>

enum { PLOT_LEAST_WIDTH = 40, PLOT_LEAST_HEIGHT = 6 };

struct plot {
    const double *samples; /* borrowed, finite */
    size_t count;          /* at least 2 */
    double interval;       /* seconds from sample to sample, > 0 */
    double resolution;     /* smallest step between values, their unit; 0 or NAN: not known */
    const char *unit;
    int width;  /* characters in all, labels included; less than the least is taken as the least */
    int height; /* rows of the drawing, axis not counted; likewise */
    bool ascii; /* plain ASCII instead of braille and lines */
};

/*
 * Draws. Returns the lines, each ended by a newline (free with free()), or
 * NULL when an argument is out of bounds or a sample is not finite.
 */
char *plot_draw(const struct plot *plot);

#endif
