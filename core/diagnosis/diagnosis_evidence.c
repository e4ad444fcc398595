/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "diagnosis_evidence.h"

/* Puts the set in the place of all that hold it; false: one that is there says as much. */
static bool replace(struct diagnosis_evidence *evidence, const struct block_set *set)
{
    size_t kept = 0;
    for (size_t i = 0; i < evidence->count; i++)
        if (block_set_within(&evidence->blamed[i], set))
            return false;
    for (size_t i = 0; i < evidence->count; i++)
        if (!block_set_within(set, &evidence->blamed[i]))
            evidence->blamed[kept++] = evidence->blamed[i];
    evidence->count = kept;
    return true;
}

/* The place of the largest set, which says least. */
static size_t largest(const struct diagnosis_evidence *evidence)
{
    size_t at = 0;
    for (size_t i = 1; i < evidence->count; i++)
        if (block_set_count(&evidence->blamed[i]) > block_set_count(&evidence->blamed[at]))
            at = i;
    return at;
}

bool diagnosis_blame(struct diagnosis_evidence *evidence, const struct block_set *set)
{
    struct block_set left = block_set_without(set, &evidence->cleared);
    size_t count = block_set_count(&left);

    if (count == 0)
        return false;
    if (!replace(evidence, &left))
        return true;
    if (evidence->count < DIAGNOSIS_BLAMED) {
        evidence->blamed[evidence->count++] = left;
        return true;
    }
    size_t at = largest(evidence);
    if (count < block_set_count(&evidence->blamed[at]))
        evidence->blamed[at] = left;
    return true;
}

/* The sets that have this block, a bit for each. */
static size_t sets_with(const struct diagnosis_evidence *evidence, size_t block)
{
    size_t sets = 0;
    for (size_t i = 0; i < evidence->count; i++)
        sets |= (size_t)block_set_has(&evidence->blamed[i], block) << i;
    return sets;
}

/*
 * Probability that each set has a fault in it, when the sets of `met` have
 * one and no block of `good` is faulty. Block after block, the probability of each
 * choice of sets that have a fault so far; a sum of products, nothing is subtracted.
 */
static double chance(const struct diagnosis_evidence *evidence, const struct block_set *good,
                     size_t met)
{
    size_t choices = (size_t)1 << evidence->count;
    double share[1 << DIAGNOSIS_BLAMED] = { 0 };

    share[met] = 1;
    for (size_t block = 0; block < BLOCK_SET_MAX; block++) {
        size_t sets = sets_with(evidence, block);
        double faulty = block_set_has(good, block) ? 0 : evidence->faulty[block];
        for (size_t choice = choices; sets != 0 && choice-- > 0;) {
            double moved = share[choice] * faulty;
            share[choice] *= 1 - faulty;
            share[choice | sets] += moved;
        }
    }
    return share[choices - 1];
}

/* Probability of no fault in any of these blocks. */
static double all_good(const double *faulty, const struct block_set *blocks)
{
    double product = 1;
    for (size_t i = 0; i < BLOCK_SET_MAX; i++)
        if (block_set_has(blocks, i))
            product *= 1 - faulty[i];
    return product;
}

double diagnosis_chance(const struct diagnosis_evidence *evidence, const struct block_set *good)
{
    struct block_set sure = block_set_without(good, &evidence->cleared);
    return all_good(evidence->faulty, &sure) * chance(evidence, good, 0);
}

double diagnosis_chance_faulty(const struct diagnosis_evidence *evidence, size_t block)
{
    struct block_set none = { 0 };
    if (block_set_has(&evidence->cleared, block))
        return 0;
    return evidence->faulty[block] * chance(evidence, &none, sets_with(evidence, block));
}
