/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Control chart of a check standard: a point whose value is known to stand
 * still, measured in every round, so that what moves there is the instrument.
 * Shewhart's limits at three standard deviations catch what is sudden, an
 * exponentially weighted moving average with limits of its own what is small
 * and lasts (NIST/SEMATECH e-Handbook, 2.3.5.2, 6.3.2.4 and 6.3.2.1). Each cries wolf about once
 * in 370 readings that are well (6.3.2), so one alarm alone should stop nothing.
 */
#ifndef GRADUS_CORE_CONTROL_CHART_H
#define GRADUS_CORE_CONTROL_CHART_H

#include "baseline.h"

#include <stdbool.h>

extern const double control_sigmas; /* 3 */
extern const double control_weight; /* of the newest reading in the average, 0.2 */

/* Begin with `window` set, all else zero. */
struct control_chart {
    int window; /* readings that centre and deviation are from, 2 or more; 0: there is no chart */
    struct baseline baseline;
    double last; /* reading */
    double
        quantum; /* the instrument's step, the coarsest there was; else the smallest change from one
                       reading to the next; 0: none yet */
    bool stated; /* that it is the instrument's */
    double average;
};

/* "in control" until the window is full. */
enum control { CONTROL_WELL, CONTROL_SUDDEN, CONTROL_LASTING };

/*
 * Takes in a reading, finite, and says what it makes of the instrument. Readings that are all alike have
 * no deviation of their own: it is the instrument's resolution that they are known to (e-Handbook 2.4.5.1,
 * resolution of a gauge, its standard deviation a rectangle's; from memory).
 *
 * step  of the display that it was read from; 0: not known
 */
enum control control_chart_add(struct control_chart *chart, double value, double step);

/*
 * What the limits are made of: the deviation of readings, of a display's half
 * step at least; NAN until the window is full, and while readings that are all alike have no step.
 */
double control_chart_deviation(const struct control_chart *chart);

/* The next average; and how far it may be from the centre after many readings. */
double control_average(double average, double value, double weight);
double control_average_limit(double deviation, double weight, double sigmas);

#endif
