/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What can have been missed between looks. Look k was made at some time between its own end t(k) and
 * the end of the look before, t(k-1). Own derivation: what begins just after t(k-2) may have missed look
 * k-1, and holds all of look k if it lasts until t(k). So whatever lasts t(k) - t(k-2), for the k for
 * which that is most, is seen by one whole look; what is shorter can have been missed.
 */
#ifndef GRADUS_TOOLS_WATCHED_H
#define GRADUS_TOOLS_WATCHED_H

#include <stddef.h>

/* Times in milliseconds of any one clock. {0} with watched_begin() before the first look. */
struct watched {
    double before;  /* end of the look before the last, or when watching began */
    double last;    /* end of the last look, or when watching began */
    double longest; /* that anything lasted that can have been missed so far */
    size_t looks;
};

/* Nothing was looked at before `now`. */
struct watched watched_begin(double now);

/* A look with a value has ended. */
void watched_look(struct watched *watched, double now);

/* The shortest that was surely seen, had it ended by `now`, when watching ended. */
double watched_sure(const struct watched *watched, double now);

#endif
