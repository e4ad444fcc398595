/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The hand at an input: where it says that the tip is, what the tip sees, the same for the same seed. */
#include "tools/standin/circuit/hand.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct source rail_of(double level)
{
    struct source rail = source_default(SOURCE_DC);
    rail.level = level;
    return rail;
}

static void a_lifted_tip_hums_and_drifts(void **state)
{
    const struct hand hand = hand_begin(7);
    struct source first = hand_feel(&hand, 10.0);
    struct source later = hand_feel(&hand, 12.0);

    (void)state;
    assert_null(hand_node(&hand, 10.0));
    assert_true(first.kind == SOURCE_SINE && first.frequency == 50.0);
    assert_true(first.amplitude >= 0.7 * hand.hum && first.amplitude <= 1.3 * hand.hum);
    assert_true(first.source_resistance >= 1e6);
    assert_true(fabs(first.level) <= hand.leftover && first.level != later.level);
}

static void it_touches_slips_and_lifts_when_told(void **state)
{
    const struct source five = rail_of(5.0), three = rail_of(3.0);
    struct hand hand = hand_begin(1);

    (void)state;
    hand_move(&hand, &(struct hand_move) { 1.0, 0.0, &five }, 0.0);
    hand_move(&hand, &(struct hand_move) { 2.0, 0.0, &three }, 0.0);
    hand_move(&hand, &(struct hand_move) { 3.0, 0.0, NULL }, 0.0);
    assert_true(hand_feel(&hand, 1.5).level == 5.0);
    assert_true(hand_feel(&hand, 2.5).level == 3.0);
    assert_true(hand_feel(&hand, 3.5).kind == SOURCE_SINE);
    /* A look that was half on each sees what is between. */
    double between = hand_feel(&hand, 2.01).level;
    assert_true(between > 3.5 && between < 4.5);
    /* A new move calls off those that were planned for later. */
    hand_move(&hand, &(struct hand_move) { 1.7, 0.0, &three }, 1.6);
    assert_ptr_equal(hand_node(&hand, 3.5), &three);
}

static void contact_that_bounces_comes_and_goes_by_the_seed(void **state)
{
    const struct source five = rail_of(5.0);
    struct hand hand = hand_begin(3), same = hand_begin(3), other = hand_begin(4);
    int between = 0, different = 0;

    (void)state;
    hand_move(&hand, &(struct hand_move) { 1.0, 1.0, &five }, 0.0);
    hand_move(&same, &(struct hand_move) { 1.0, 1.0, &five }, 0.0);
    hand_move(&other, &(struct hand_move) { 1.0, 1.0, &five }, 0.0);
    for (int i = 5; i < 100; i++) {
        double t = 1.0 + i / 100.0;
        double level = hand_feel(&hand, t).level;
        between += level > 0.5 && level < 4.5;
        different += level != hand_feel(&other, t).level;
        assert_true(level == hand_feel(&same, t).level);
    }
    assert_true(between > 50);
    assert_true(different > 30);
    assert_true(hand_feel(&hand, 2.1).level == 5.0);
}

static void moves_that_are_over_are_forgotten(void **state)
{
    const struct source five = rail_of(5.0);
    struct hand hand = hand_begin(1);

    (void)state;
    for (int i = 0; i < 3 * HAND_MOVES; i++)
        hand_move(&hand, &(struct hand_move) { i, 0.0, i % 2 ? &five : NULL }, i);
    assert_int_equal(hand.count, HAND_MOVES);
    assert_ptr_equal(hand_node(&hand, 1e3), &five);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lifted_tip_hums_and_drifts),
        cmocka_unit_test(it_touches_slips_and_lifts_when_told),
        cmocka_unit_test(contact_that_bounces_comes_and_goes_by_the_seed),
        cmocka_unit_test(moves_that_are_over_are_forgotten),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
