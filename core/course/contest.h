/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which of the shapes a course has (shapes.h), on which background
 * (background.h). Each pair is fitted by generalised least squares and
 * weighed by its likelihood with the factors and the deviation integrated out
 * (the Bayes factor: Kass and Raftery, Journal of the American Statistical
 * Association 90 (1995) 773; the factors' part is the restricted likelihood of
 * Patterson and Thompson, Biometrika 58 (1971) 545; from memory), which
 * mistakes nothing that a shape has taken up for a quieter background. What
 * is said of a course is said over all pairs by their weights (model averaging).
 */
#ifndef GRADUS_CORE_CONTEST_H
#define GRADUS_CORE_CONTEST_H

#include "background.h"
#include "shapes.h"

enum { CONTESTANTS = 64 };

struct contestant {
    double weight; /* all add up to 1 */
    struct course_shape shape;
    enum background_kind background;
    double deviation; /* of the white noise of a full place, of the places' unit */
    double freedom;
    struct least_squares fit;
};

struct contest {
    struct places places;
    size_t count;
    struct contestant list[CONTESTANTS]; /* the heaviest, no order */
    double courses[SHAPE_COURSES];       /* weights of each */
    double backgrounds[BACKGROUND_KINDS];
    double stepless; /* weight of those without a step */
};

/*
 * Holds a contest over a course. time ascending, all finite.
 *
 * day     length of a day, unit of `time`
 * step    as for shapes_lay_out()
 * least   variance that a value's noise has at least (a display's rounding)
 * False when there is nothing to compare: see places_gather().
 */
bool contest_hold(const double *time, const double *value, size_t count, double day,
                  const size_t step[2], double least, struct contest *contest);

/* Value of a contestant's course at a time, INFINITY too, and its standard uncertainty. */
double contestant_value(const struct contest *contest, const struct contestant *contestant,
                        double time, double *standard);

/* Height of its step, and its standard uncertainty; it must have one. */
double contestant_step(const struct contest *contest, const struct contestant *contestant,
                       double *standard);

/* Swing of its daily cycle, peak to peak, and its standard uncertainty; 0 without one. */
double contestant_day(const struct contest *contest, const struct contestant *contestant,
                      double *standard);

/* How fast its course changes at a time, and the standard uncertainty. */
double contestant_slope(const struct contest *contest, const struct contestant *contestant,
                        double time, double *standard);

#endif
