/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where to probe next on a board that does not work, and which block is to
 * blame. A board is blocks that feed each other; a point is the output of one.
 *
 * What a reading says: an output that is bad has at least one fault in its
 * block or in what feeds it, however far back. An output that is good clears
 * its block and all that feeds it, but for what stands behind a block that
 * may hide a bad input (a regulator regulates, a spare takes over). There may
 * be several faults, the feeding may go in circles, and one block may feed
 * many. What a reading leaves open clears nothing and blames nothing, so that
 * no block is ever cleared that is faulty as long as the verdicts are right.
 *
 * Which point is next: the one whose outcome is least certain for its cost.
 * With one fault, blocks equally likely and points equally dear that is the half-split
 * rule of the trade (in the middle of what is left; common practice, no
 * source); weighed, the outcome's entropy for the cost, which for an outcome that
 * the faults decide is what is learnt of them (T. M. Cover, J. A. Thomas,
 * Elements of Information Theory, 2.4, from memory).
 *
 * The probabilities take faults for independent, and that a block hides a bad input for as
 * likely as not; no block is cleared or blamed because of them.
 */
#ifndef GRADUS_CORE_DIAGNOSIS_H
#define GRADUS_CORE_DIAGNOSIS_H

#include "block_set.h"

/* What one problem may have at most. */
enum { DIAGNOSIS_POINTS = 256, DIAGNOSIS_INPUTS = 16 };

struct diagnosis_block {
    double likelihood;               /* of failing, relative to the others, > 0 */
    bool hides;                      /* its output may be good although what feeds it is bad */
    size_t inputs[DIAGNOSIS_INPUTS]; /* the blocks that feed it */
    size_t input_count;
};

enum diagnosis_outcome { DIAGNOSIS_OPEN, DIAGNOSIS_GOOD, DIAGNOSIS_BAD, DIAGNOSIS_UNSURE };

struct diagnosis_point {
    size_t block; /* whose output it is */
    double cost;  /* of measuring there, relative to the others, > 0 */
    enum diagnosis_outcome outcome;
    struct block_set blames; /* made by diagnosis_prepare(): what can make it bad */
    struct block_set clears; /* the same: whose fault would surely show there */
};

/* Caller-owned. Counts, blocks, and block, cost and outcome of points are the caller's. */
struct diagnosis {
    size_t block_count; /* 1 to BLOCK_SET_MAX */
    struct diagnosis_block blocks[BLOCK_SET_MAX];
    size_t point_count; /* 1 to DIAGNOSIS_POINTS */
    struct diagnosis_point points[DIAGNOSIS_POINTS];
    double faulty[BLOCK_SET_MAX]; /* made by diagnosis_prepare(): probability before any reading */
};

enum diagnosis_state {
    DIAGNOSIS_GO_ON,    /* the next point tells more */
    DIAGNOSIS_FOUND,    /* one block is to blame */
    DIAGNOSIS_NARROWED, /* no point that is left tells these blocks apart */
    DIAGNOSIS_NOTHING,  /* no block is left: what was measured is good */
    DIAGNOSIS_CONFLICT  /* an output is bad although all that could make it so was cleared */
};

struct diagnosis_finding {
    enum diagnosis_state state;
    size_t point; /* the next one; of a conflict the bad output */
    double bad;   /* probability that the next one is bad */
    struct block_set
        suspects; /* what may be faulty: of what is to blame, and while it goes on, all */
    double probability[BLOCK_SET_MAX]; /* that the block is faulty, from all that was measured */
};

/*
 * Works out what each point blames and clears, and the probabilities before
 * any reading: independent, and in proportion to the blocks' likelihoods. To
 * be called when blocks and points are set, before diagnosis_find().
 */
void diagnosis_prepare(struct diagnosis *diagnosis);

/*
 * What the outcomes so far come to. The board is taken to be faulty somewhere
 * that a point can show; nothing is found before an output was bad.
 */
void diagnosis_find(const struct diagnosis *diagnosis, struct diagnosis_finding *finding);

#endif
