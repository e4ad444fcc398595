/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A rise time without what the instrument adds to it: rise times of stages in a row add in squares (Elmore,
 * Journal of Applied Physics 19 (1948) 55; Valley and Wallman, Vacuum Tube Amplifiers (McGraw-Hill,
 * 1948), 2.1; from memory), so that
 *
 *     t = sqrt(seen^2 - own^2)
 *
 * It is exact for Gaussian responses only. Of straight, RC, Gaussian and ringing edges through a Gaussian
 * or a first-order response the result is off by no more than t (0.12 r + 0.1 r^3), r = own / t, up to r = 0.7
 * (own derivation, by numerical convolution; 29 % at r = 1).
 */
#ifndef GRADUS_CORE_RISE_TIME_H
#define GRADUS_CORE_RISE_TIME_H

#include <stdbool.h>

/* A corrected rise time, seconds, and how far it may be off by the correction. */
struct rise_time {
    double value;
    double bound;
};

/* 10 to 90 % of a first-order response by its -3 dB frequency: ln 9 / (2 pi f), 0.35 / f; NAN for a NAN. */
double rise_time_of_bandwidth(double bandwidth);

/*
 * Takes the own rise time away. The own one is taken to be known to 20 % (common practice, no source: bandwidths are
 * stated as "at least"), which is in the bound. False, writing nothing, where the edge is not slow
 * enough: r above 0.7, or anything not above zero.
 */
bool rise_time_correct(double seen, double own, struct rise_time *corrected);

#endif
