/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The last readings of a point as a line of small bars: where they are going, at a glance. */
#ifndef GRADUS_TOOLS_SPARK_H
#define GRADUS_TOOLS_SPARK_H

#include <stdbool.h>
#include <stddef.h>

enum { SPARK_MOST = 64, SPARK_TEXT = 3 * SPARK_MOST + 1 };

/* The last values of one point; start with {0}. */
struct spark {
    double values[SPARK_MOST]; /* NAN: there was no reading */
    size_t count;              /* of them */
    size_t next;               /* place of the next one */
};

/* Adds a value, NAN for a reading that failed; the oldest goes where there is no room. */
void spark_add(struct spark *spark, double value);

/*
 * Draws the last values, at most `columns` (SPARK_MOST at most), one column
 * each, oldest first. The height is the span of the values drawn, or `span`
 * (an uncertainty; NAN: none) about their middle where that is larger, so that
 * noise does not look like a trend. Without any span the line is in the
 * middle. "x" stands where there was no reading. Returns how many columns were
 * drawn.
 */
size_t spark_draw(const struct spark *spark, size_t columns, double span, bool ascii,
                  char text[SPARK_TEXT]);

#endif
