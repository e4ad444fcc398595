/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What readings of a board clear and blame, and where to probe next: small boards, by hand. */
#include "core/diagnosis/diagnosis.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

/* A block fed by up to two others, -1: none, with a point at its output. */
static void put(struct diagnosis *board, int first, int second)
{
    size_t at = board->block_count++;
    board->blocks[at] = (struct diagnosis_block) { .likelihood = 1 };
    const int inputs[] = { first, second };
    for (int i = 0; i < 2; i++)
        if (inputs[i] >= 0)
            board->blocks[at].inputs[board->blocks[at].input_count++] = (size_t)inputs[i];
    board->points[board->point_count++] = (struct diagnosis_point) { .block = at, .cost = 1 };
}

static void chain(struct diagnosis *board, int length)
{
    memset(board, 0, sizeof *board);
    for (int i = 0; i < length; i++)
        put(board, i - 1, -1);
    diagnosis_prepare(board);
}

static struct diagnosis_finding find(const struct diagnosis *board)
{
    struct diagnosis_finding finding;
    diagnosis_find(board, &finding);
    return finding;
}

/* Common practice, no source: the half-split rule. Eight in a row, the last is bad: three readings. */
static void a_chain_is_halved(void **state)
{
    static struct diagnosis board;
    (void)state;
    for (size_t fault = 0; fault < 8; fault++) {
        chain(&board, 8);
        board.points[7].outcome = DIAGNOSIS_BAD;
        assert_int_equal(find(&board).point, 3);
        int readings = 0;
        struct diagnosis_finding finding = find(&board);
        for (; finding.state == DIAGNOSIS_GO_ON; finding = find(&board), readings++)
            board.points[finding.point].outcome =
                finding.point >= fault ? DIAGNOSIS_BAD : DIAGNOSIS_GOOD;
        assert_int_equal(readings, 3);
        assert_int_equal(finding.state, DIAGNOSIS_FOUND);
        assert_true(block_set_has(&finding.suspects, fault));
        assert_true(finding.probability[fault] > 0.999999);
    }
}

/* Own derivation: one block fails as often as all others together, so its border is the middle. */
static void what_fails_often_is_looked_at_first(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 8);
    board.blocks[0].likelihood = 7;
    diagnosis_prepare(&board);
    board.points[7].outcome = DIAGNOSIS_BAD;
    assert_int_equal(find(&board).point, 0);
    board.points[0].cost = 100;
    assert_int_equal(find(&board).point, 1);
}

/* Of two independent faults with odds p each, one at least: each has p / (1 - (1 - p)^2). */
static void probabilities_are_bayes(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 2);
    board.points[1].outcome = DIAGNOSIS_BAD;
    double p = board.faulty[0], expected = p / (1 - (1 - p) * (1 - p));
    assert_true(fabs(find(&board).probability[0] - expected) < 1e-12);
    assert_true(fabs(find(&board).probability[1] - expected) < 1e-12);
}

static void what_is_open_or_unsure_clears_and_blames_nothing(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 4);
    board.points[3].outcome = DIAGNOSIS_BAD;
    for (int i = 0; i < 3; i++)
        board.points[i].outcome = DIAGNOSIS_UNSURE;
    struct diagnosis_finding finding = find(&board);
    assert_int_equal(finding.state, DIAGNOSIS_NARROWED);
    assert_int_equal(block_set_count(&finding.suspects), 4);
}

static void a_block_that_hides_a_bad_input_does_not_clear_it(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 3);
    board.blocks[1].hides = true;
    diagnosis_prepare(&board);
    board.points[1].outcome = DIAGNOSIS_GOOD;
    board.points[2].outcome = DIAGNOSIS_BAD;
    struct diagnosis_finding finding = find(&board);
    assert_true(block_set_has(&finding.suspects, 0));
    assert_false(block_set_has(&finding.suspects, 1));
    assert_true(block_set_has(&finding.suspects, 2));
    assert_int_equal(finding.state, DIAGNOSIS_GO_ON);
    assert_int_equal(finding.point, 0);
}

/* 0 -> 1 -> 2 -> 1: whatever is bad in the loop, all of it is bad. */
static void a_loop_is_one(void **state)
{
    static struct diagnosis board;
    (void)state;
    memset(&board, 0, sizeof board);
    put(&board, -1, -1);
    put(&board, 0, 2);
    put(&board, 1, -1);
    diagnosis_prepare(&board);
    board.points[2].outcome = DIAGNOSIS_BAD;
    board.points[0].outcome = DIAGNOSIS_GOOD;
    struct diagnosis_finding finding = find(&board);
    assert_int_equal(finding.state, DIAGNOSIS_NARROWED);
    assert_int_equal(block_set_count(&finding.suspects), 2);
    assert_false(block_set_has(&finding.suspects, 0));
}

/* Two outputs of one supply are bad: the supply is likelier than a fault in each, and both are left. */
static void two_bad_outputs_point_at_what_they_share(void **state)
{
    static struct diagnosis board;
    (void)state;
    memset(&board, 0, sizeof board);
    put(&board, -1, -1);
    put(&board, 0, -1);
    put(&board, 0, -1);
    diagnosis_prepare(&board);
    board.points[1].outcome = DIAGNOSIS_BAD;
    board.points[2].outcome = DIAGNOSIS_BAD;
    struct diagnosis_finding finding = find(&board);
    assert_int_equal(finding.state, DIAGNOSIS_GO_ON);
    assert_int_equal(finding.point, 0);
    assert_true(finding.probability[0] > 0.9 && finding.probability[1] < 0.1);
    assert_int_equal(block_set_count(&finding.suspects), 3);
    board.points[0].outcome = DIAGNOSIS_GOOD;
    finding = find(&board);
    assert_int_equal(finding.state, DIAGNOSIS_FOUND);
    assert_true(finding.probability[1] > 0.999999 && finding.probability[2] > 0.999999);
}

static void all_good_is_nothing_and_bad_after_good_a_conflict(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 3);
    board.points[2].outcome = DIAGNOSIS_GOOD;
    assert_int_equal(find(&board).state, DIAGNOSIS_NOTHING);
    board.points[1].outcome = DIAGNOSIS_BAD;
    assert_int_equal(find(&board).state, DIAGNOSIS_CONFLICT);
    assert_int_equal(find(&board).point, 1);
}

/* Nothing is blamed on the mere word that the board is faulty. */
static void nothing_is_found_before_an_output_was_bad(void **state)
{
    static struct diagnosis board;
    (void)state;
    chain(&board, 2);
    board.points[0].outcome = DIAGNOSIS_GOOD;
    struct diagnosis_finding finding = find(&board);
    assert_int_equal(finding.state, DIAGNOSIS_GO_ON);
    assert_int_equal(finding.point, 1);
    board.points[1].outcome = DIAGNOSIS_BAD;
    assert_int_equal(find(&board).state, DIAGNOSIS_FOUND);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_chain_is_halved),
        cmocka_unit_test(what_fails_often_is_looked_at_first),
        cmocka_unit_test(probabilities_are_bayes),
        cmocka_unit_test(what_is_open_or_unsure_clears_and_blames_nothing),
        cmocka_unit_test(a_block_that_hides_a_bad_input_does_not_clear_it),
        cmocka_unit_test(a_loop_is_one),
        cmocka_unit_test(two_bad_outputs_point_at_what_they_share),
        cmocka_unit_test(all_good_is_nothing_and_bad_after_good_a_conflict),
        cmocka_unit_test(nothing_is_found_before_an_output_was_bad),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
