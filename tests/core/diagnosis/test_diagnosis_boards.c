/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random boards with random faults: how many readings it takes, beside the
 * ways of the trade and the bound of information, and that no faulty
 * block is ever cleared. How a fault spreads is modelled here, step by step, and
 * not by what feeds what.
 */
#include "core/diagnosis/diagnosis.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "tests/core/noise.h"

enum kind { CHAIN, TREE, LOOP, SUPPLY, MESH, KINDS };

static const char *const names[KINDS] = { "chain", "tree", "feedback", "shared supply",
                                          "reconvergence" };

enum { BOARDS = 400, LEAST_BLOCKS = 6, MOST_BLOCKS = 32 };

/* Readings, summed over boards. */
struct tally {
    double ours;
    double in_order;
    double halving; /* by count, in the order of the signal */
    double bound;   /* bits */
    int found;
    int halved; /* of these found by halving, too */
    int boards;
};

static size_t below(size_t count)
{
    return (size_t)(uniform() * (double)count) % count;
}

static void feed(struct diagnosis *board, size_t block, size_t input)
{
    struct diagnosis_block *at = &board->blocks[block];
    if (at->input_count < DIAGNOSIS_INPUTS && input != block)
        at->inputs[at->input_count++] = input;
}

/* Blocks in the order of the signal; the last is what the customer complains of. */
static void make(struct diagnosis *board, enum kind kind)
{
    memset(board, 0, sizeof *board);
    board->block_count = LEAST_BLOCKS + below(MOST_BLOCKS - LEAST_BLOCKS);
    board->point_count = board->block_count;
    size_t last = board->block_count - 1;
    for (size_t i = 0; i <= last; i++) {
        board->blocks[i].likelihood = exp(2 * uniform() - 1);
        board->points[i] = (struct diagnosis_point) { .block = i, .cost = 1 };
        if (i > 0 && kind != TREE)
            feed(board, i, i - 1);
        if (kind == TREE && i > 0) /* a signal of many sources: each feeds one further on */
            feed(board, i + below(last - i + 1) == i && i < last ? i + 1 : last, i - 1);
        if (kind == MESH && i > 1)
            feed(board, i, below(i - 1));
        if (kind == SUPPLY && i > 1)
            feed(board, i, i % 2);
    }
    for (size_t i = 0; kind == LOOP && i < 1 + last / 10; i++) {
        size_t from = 1 + below(last);
        feed(board, from > 3 ? from - 2 : 1, from);
    }
    diagnosis_prepare(board);
}

/* The outputs that are bad: a fault spreads until nothing changes. */
static void spread(const struct diagnosis *board, const bool *faulty, bool *bad)
{
    memcpy(bad, faulty, board->block_count * sizeof *bad);
    for (bool changed = true; changed;) {
        changed = false;
        for (size_t i = 0; i < board->block_count; i++)
            for (size_t j = 0; j < board->blocks[i].input_count; j++)
                if (!bad[i] && bad[board->blocks[i].inputs[j]])
                    bad[i] = changed = true;
    }
}

/* A block by its likelihood, of those whose fault is seen at the last output. */
static size_t draw(const struct diagnosis *board)
{
    for (;;) {
        size_t block = below(board->block_count);
        bool faulty[BLOCK_SET_MAX] = { false }, bad[BLOCK_SET_MAX];
        faulty[block] = true;
        spread(board, faulty, bad);
        if (bad[board->block_count - 1] && uniform() * M_E < board->blocks[block].likelihood)
            return block;
    }
}

/* Bits of which of the faults it is that the points can tell apart, one of them being there. */
static double bits(const struct diagnosis *board)
{
    size_t count = board->block_count;
    double weights[BLOCK_SET_MAX] = { 0 }, sum = 0, out = 0;
    bool looks[BLOCK_SET_MAX][BLOCK_SET_MAX];
    for (size_t i = 0; i < count; i++) {
        bool faulty[BLOCK_SET_MAX] = { false };
        faulty[i] = true;
        spread(board, faulty, looks[i]);
        size_t same = 0;
        while (same < i && memcmp(looks[same], looks[i], count * sizeof(bool)) != 0)
            same++;
        weights[same] += looks[i][count - 1] ? board->blocks[i].likelihood : 0;
        sum += looks[i][count - 1] ? board->blocks[i].likelihood : 0;
    }
    for (size_t i = 0; i < count; i++)
        out -= weights[i] > 0 ? weights[i] / sum * log2(weights[i] / sum) : 0;
    return out;
}

/* Our way to the end; how many readings. Every fault stays a suspect, or one is found. */
static double diagnose(struct diagnosis *board, const bool *faulty, const bool *bad, double unsure,
                       struct diagnosis_finding *finding)
{
    double readings = 0;
    board->points[board->block_count - 1].outcome = DIAGNOSIS_BAD;
    for (diagnosis_find(board, finding); finding->state == DIAGNOSIS_GO_ON;
         diagnosis_find(board, finding)) {
        bool kept = false;
        for (size_t i = 0; i < board->block_count; i++)
            kept = kept || (faulty[i] && block_set_has(&finding->suspects, i));
        assert_true(kept);
        assert_int_equal(board->points[finding->point].outcome, DIAGNOSIS_OPEN);
        enum diagnosis_outcome seen = bad[finding->point] ? DIAGNOSIS_BAD : DIAGNOSIS_GOOD;
        board->points[finding->point].outcome = uniform() < unsure ? DIAGNOSIS_UNSURE : seen;
        readings++;
    }
    return readings;
}

/* Whether what was found is a fault: the block, or one of those that cannot be told apart. */
static bool is_right(const struct diagnosis *board, const bool *faulty,
                     const struct diagnosis_finding *finding)
{
    if (finding->state != DIAGNOSIS_FOUND && finding->state != DIAGNOSIS_NARROWED)
        return false;
    for (size_t i = 0; i < board->block_count; i++)
        if (faulty[i] && block_set_has(&finding->suspects, i))
            return true;
    return false;
}

/* From the input on until an output is bad. */
static double from_the_input(const struct diagnosis *board, const bool *bad)
{
    for (size_t i = 0; i + 1 < board->block_count; i++)
        if (bad[i])
            return (double)i + 1;
    return (double)board->block_count - 1;
}

/* Always in the middle of what is left of the row; what it ends at is not always the fault. */
static double by_halves(const struct diagnosis *board, const bool *bad, size_t *found)
{
    size_t low = 0, high = board->block_count - 1;
    double readings = 0;
    for (; low < high; readings++) {
        size_t middle = (low + high) / 2;
        if (bad[middle])
            high = middle;
        else
            low = middle + 1;
    }
    *found = low;
    return readings;
}

static void add_board(struct tally *tally, enum kind kind)
{
    static struct diagnosis board;
    struct diagnosis_finding finding;
    bool faulty[BLOCK_SET_MAX] = { false }, bad[BLOCK_SET_MAX];

    make(&board, kind);
    faulty[draw(&board)] = true;
    spread(&board, faulty, bad);
    tally->ours += diagnose(&board, faulty, bad, 0, &finding);
    tally->in_order += from_the_input(&board, bad);
    size_t halved;
    tally->halving += by_halves(&board, bad, &halved);
    tally->halved += faulty[halved];
    tally->bound += bits(&board);
    tally->found += is_right(&board, faulty, &finding);
    tally->boards++;
}

/* Own measure: 1.2 times the bound over all boards; a reading tells one bit at most. */
static void few_readings_find_the_fault(void **state)
{
    struct tally all = { 0 };
    (void)state;
    srandom(1);
    printf("readings a board         ours  in order  halving (right)  bound  ours/bound  found\n");
    for (int kind = 0; kind < KINDS; kind++) {
        struct tally tally = { 0 };
        for (int i = 0; i < BOARDS; i++)
            add_board(&tally, (enum kind)kind);
        double boards = tally.boards;
        printf("%-20s %8.2f %9.2f %8.2f %6.0f%% %6.2f %11.2f %5.0f%%\n", names[kind],
               tally.ours / boards, tally.in_order / boards, tally.halving / boards,
               100 * tally.halved / boards, tally.bound / boards, tally.ours / tally.bound,
               100 * tally.found / boards);
        assert_int_equal(tally.found, tally.boards);
        assert_true(tally.ours <= tally.in_order);
        all.ours += tally.ours;
        all.bound += tally.bound;
    }
    printf("%-20s %54.2f\n", "all", all.ours / all.bound);
    assert_true(all.ours <= 1.2 * all.bound);
}

/* Up to three faults, readings that say nothing, blocks that hide: no certainty that is wrong. */
static void no_fault_is_ever_cleared(void **state)
{
    static struct diagnosis board;
    (void)state;
    srandom(2);
    for (int i = 0; i < BOARDS * KINDS; i++) {
        struct diagnosis_finding finding;
        bool faulty[BLOCK_SET_MAX] = { false }, bad[BLOCK_SET_MAX];
        make(&board, (enum kind)(i % KINDS));
        for (size_t faults = 1 + below(3); faults > 0; faults--)
            faulty[draw(&board)] = true;
        spread(&board, faulty, bad);
        diagnose(&board, faulty, bad, 0.2, &finding);
        assert_true(is_right(&board, faulty, &finding));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(few_readings_find_the_fault),
        cmocka_unit_test(no_fault_is_ever_cleared),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
