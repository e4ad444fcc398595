/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a plot is drawn with, whatever it is drawn on. Lengths are points,
 * y grows downwards, and colours have a purpose and not a value: what is
 * drawn on knows whether it is paper or a dark screen.
 */
#ifndef GRADUS_TOOLS_PEN_H
#define GRADUS_TOOLS_PEN_H

#include <stddef.h>

enum ink {
    INK_TEXT,
    INK_FAINT, /* labels */
    INK_GRID,
    INK_GAP,   /* where nothing was measured */
    INK_TRACE, /* the values */
    INK_RANGE, /* from smallest to largest value */
    INK_LIMIT,
    INK_GUARD,   /* guard bands */
    INK_DRIFT,   /* how far it may drift */
    INK_WARM_UP, /* where nothing is judged */
    INK_BAD,
    INK_WELL,
    INK_COUNT
};

enum anchor { ANCHOR_START, ANCHOR_MIDDLE, ANCHOR_END };

/* A stretch of a vertical line. */
struct bar {
    double x;
    double top;
    double bottom;
};

struct pen {
    void *context;
    double label; /* the size that labels are given room for, and may be written in */
    void (*line)(void *context, enum ink ink, double width, double x1, double y1, double x2,
                 double y2);
    void (*area)(void *context, enum ink ink, double x, double y, double width, double height);
    /* A line through `count` points, x and y in turn. */
    void (*path)(void *context, enum ink ink, double width, const double *points, size_t count);
    /* Vertical lines, `count` of them. */
    void (*bars)(void *context, enum ink ink, double width, const struct bar *bars, size_t count);
    void (*text)(void *context, enum ink ink, double size, enum anchor anchor, double x, double y,
                 const char *text);
};

#endif
