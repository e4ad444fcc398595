/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sets of the blocks of a board, by their numbers. */
#ifndef GRADUS_CORE_BLOCK_SET_H
#define GRADUS_CORE_BLOCK_SET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { BLOCK_SET_MAX = 128, BLOCK_SET_WORDS = BLOCK_SET_MAX / 64 };

/* Zeroed: the empty set. */
struct block_set {
    uint64_t words[BLOCK_SET_WORDS];
};

/* Puts in the block with this number, below BLOCK_SET_MAX. */
static inline void block_set_add(struct block_set *set, size_t block)
{
    set->words[block / 64] |= UINT64_C(1) << (block % 64);
}

/* Whether that block is in it. */
static inline bool block_set_has(const struct block_set *set, size_t block)
{
    return (set->words[block / 64] >> (block % 64) & 1) != 0;
}

/* What is in either. */
static inline struct block_set block_set_union(const struct block_set *a, const struct block_set *b)
{
    struct block_set out;
    for (size_t i = 0; i < BLOCK_SET_WORDS; i++)
        out.words[i] = a->words[i] | b->words[i];
    return out;
}

/* What is in the first and not in the second. */
static inline struct block_set block_set_without(const struct block_set *a,
                                                 const struct block_set *b)
{
    struct block_set out;
    for (size_t i = 0; i < BLOCK_SET_WORDS; i++)
        out.words[i] = a->words[i] & ~b->words[i];
    return out;
}

/* How many blocks are in it. */
static inline size_t block_set_count(const struct block_set *set)
{
    size_t count = 0;
    for (size_t i = 0; i < BLOCK_SET_WORDS; i++)
        for (uint64_t word = set->words[i]; word != 0; word &= word - 1)
            count++;
    return count;
}

/* Whether all of the first is in the second. */
static inline bool block_set_within(const struct block_set *a, const struct block_set *b)
{
    struct block_set rest = block_set_without(a, b);
    return block_set_count(&rest) == 0;
}

/* Whether they have a block in common. */
static inline bool block_set_meets(const struct block_set *a, const struct block_set *b)
{
    struct block_set rest = block_set_without(a, b);
    return block_set_count(&rest) < block_set_count(a);
}

#endif
