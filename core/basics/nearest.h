/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Guessing what somebody meant: the known word that is fewest typing slips
 * away from an unknown one.
 */
#ifndef GRADUS_CORE_NEAREST_H
#define GRADUS_CORE_NEAREST_H

#include <stddef.h>

/*
 * Slips between two words: letters added, left out, changed, or swapped with
 * their neighbour. Only the first 63 bytes of each word are compared.
 */
size_t nearest_distance(const char *word, const char *other);

/* The best guess so far. Start with {0}. */
struct nearest {
    const char *word; /* borrowed; NULL: nothing is close enough */
    size_t distance;
    size_t weighed; /* letters that were looked at */
};

/*
 * Weighs one known word against the unknown one. Words more than a third of
 * the longer one's letters apart (but two slips are always allowed in words
 * of four letters and more) are no guess. Upper and lower case, and "_", "-", "." and a blank, are
 * one here. After some hundred thousand letters no further word is weighed: among thousands of
 * points a guess is worth a millisecond, and no more.
 */
void nearest_offer(struct nearest *nearest, const char *unknown, const char *known);

#endif
