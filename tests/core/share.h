/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Counting how many intervals hold the truth, and how many false values would have passed. */
#ifndef GRADUS_TESTS_SHARE_H
#define GRADUS_TESTS_SHARE_H

#include "world.h"

/* Begin with {0}. */
struct share {
    size_t taken;
    size_t held;
    size_t accepted; /* passed although the true value is on the limit */
    size_t none;     /* without a value */
    double widths;   /* sum of U / u_c */
};

/* Measures once and counts. The limit lies on the truth, above and below in turn. */
void share_one(struct share *share, struct world *world, const struct bench_table *table,
               size_t repeats);

/* Prints the shares and checks them: 95.0 to 97.5 % held, at most 2.5 % accepted. */
void share_report(const struct share *share, const char *what, int seed);

/* As share_report(), without the upper bound on the held share. */
void share_report_floor(const struct share *share, const char *what, int seed);

/*
 * Takes `count` scope readings of dc levels and reports them: each level from
 * cold and then four times again, every time with another instrument, probe
 * and circuit of the table that `build` makes.
 */
void share_scope(const char *what, void (*build)(struct bench_table *), size_t count, int seed);

/*
 * Takes `count` scope readings of each of rms, ac, peak to peak, maximum and minimum of a wave on
 * a level, of two to fifty periods in a record, and reports each; noise of 0 to `noise` of the
 * amplitude, everything drawn anew for each reading.
 */
void share_wave(const char *name, const struct world_wave *wave, size_t count, double noise,
                void (*report)(const struct share *, const char *, int), int seed);

#endif
