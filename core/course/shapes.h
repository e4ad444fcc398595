/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The courses that a point may take: constant, a line, exponential settling,
 * settling onto a line; each with or without a daily cycle and one step. Their
 * parts are columns over the places of a course, of which a shape is a
 * choice. Where settling shows its time constant, that constant is a
 * parameter, by the derivative to its logarithm (Gauss and Newton's way
 * with non-linear least squares: NIST/SEMATECH e-Handbook, 4.1.4.2); as long as it does not,
 * constants up to many times what was seen are as good as each other, and
 * each is a shape.
 */
#ifndef GRADUS_CORE_SHAPES_H
#define GRADUS_CORE_SHAPES_H

#include "least_squares.h"
#include "places.h"

enum shape_course {
    SHAPE_CONSTANT,
    SHAPE_LINE,
    SHAPE_SETTLING,
    SHAPE_SETTLING_LINE, /* settling onto a line */
    SHAPE_COURSES
};

enum { SHAPES = 144, SHAPE_COLUMNS = 25 };

struct course_shape {
    enum shape_course course;
    bool day;                             /* with a daily cycle */
    int step;                             /* 0 none; else which place of a step, from 1 */
    double constant;                      /* of settling, of the places' clock */
    size_t count;                         /* of its columns */
    size_t column[LEAST_SQUARES_COLUMNS]; /* that of a step is the last */
    double parameters;                    /* all but those of the noise */
    double prior; /* how probable it is before anything is known; all add up to 1 */
};

struct shapes {
    size_t count;
    struct course_shape list[SHAPES];
    double column[PLACES * SHAPE_COLUMNS]; /* a row a place; column 0 is the value */
};

/*
 * Lays the shapes of a course out.
 *
 * day     length of a day, of the places' clock; a cycle that has not been seen whole, or
 *         seldom, is none of the shapes
 * step    two places where there may be a step, as the index of the first value behind it; 0: no
 */
void shapes_lay_out(const struct places *places, double day, const size_t step[2],
                    struct shapes *shapes);

/* What a shape's columns are at a moment of the places' clock, INFINITY too, without the day. */
void shape_row(const struct course_shape *shape, double moment, double row[LEAST_SQUARES_COLUMNS]);

/* The same of how fast they change there. */
void shape_slope_row(const struct course_shape *shape, double moment,
                     double row[LEAST_SQUARES_COLUMNS]);

#endif
