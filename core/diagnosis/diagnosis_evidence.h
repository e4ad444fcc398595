/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What bad outputs say together, and how probable it is. */
#ifndef GRADUS_CORE_DIAGNOSIS_EVIDENCE_H
#define GRADUS_CORE_DIAGNOSIS_EVIDENCE_H

#include "block_set.h"

/* Sets that are reckoned with; more than so many say little more together. */
enum { DIAGNOSIS_BLAMED = 10 };

struct diagnosis_evidence {
    const double *faulty;     /* probability of each block before any reading */
    struct block_set cleared; /* blocks that are good */
    size_t count;
    struct block_set blamed[DIAGNOSIS_BLAMED]; /* each has a fault in it; none holds another */
};

/*
 * Adds that there is a fault in this set; what was cleared is taken out of
 * it. Of two sets of which one holds the other only the smaller says
 * anything. False: none of it is left.
 */
bool diagnosis_blame(struct diagnosis_evidence *evidence, const struct block_set *set);

/*
 * Probability, 0 to 1, of all that is blamed together with no fault in `good`, when what was
 * cleared is good.
 */
double diagnosis_chance(const struct diagnosis_evidence *evidence, const struct block_set *good);

/* The same together with a fault in that block. */
double diagnosis_chance_faulty(const struct diagnosis_evidence *evidence, size_t block);

#endif
