/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far a signal moved while a meter looked at it, as its readings in a row show it. */
#ifndef GRADUS_DAEMON_MOVEMENT_H
#define GRADUS_DAEMON_MOVEMENT_H

#include <stdbool.h>
#include <stddef.h>

/* What is known of a signal's standing still, from one reading to the next. Begin with {0}. */
struct stillness {
    bool looked;  /* the two that follow hold */
    double value; /* where it was when it was last looked at twice, unit of the readings */
    int moving;   /* the way it went then and since the time before, 1 or -1; 0: none */
};

/*
 * Whether a reading has to be looked at twice: nothing is known, it went the same way within
 * its last pair of readings as from pair to pair, or it is further than its error bound from where it was looked
 * at. Not from the last reading: a steady ramp would stay within the bound of that for ever.
 */
bool stillness_doubts(const struct stillness *still, double value, double error);

/* Takes in a reading that was looked at twice, and by how much it moved, signed. */
void stillness_note(struct stillness *still, double value, double moved);

/*
 * From one reading to the next: their difference, or 0 where two roundings to
 * the resolution explain it. Unit of the readings.
 */
double movement_of_two(double first, double second, double resolution);

/*
 * How far what moves lies from the mean of all readings, at most: on a straight
 * line through them over their times, where it stands out of their scatter, and
 * where neighbours are closer to each other than noise has them. 0 where neither is
 * so, and for fewer than five, of which both say nothing: the scatter of so few has
 * room for it. Unit of the readings; times in seconds, ascending, from anywhere.
 */
double movement_of_many(const double *readings, const double *times, size_t count);

#endif
