/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/basics/queue.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

enum { ITEMS = 200, KEYS = 5, STEPS = 20000 };

static void an_empty_queue_has_nothing(void **state)
{
    struct queue queue = { 0 };
    struct queued stranger = { .key = 1 };
    (void)state;
    assert_null(queue_pop(&queue));
    assert_false(queue_remove(&queue, &stranger));
    queue_push(&queue, &(struct queued) { .key = 1 });
    assert_false(queue_remove(&queue, &stranger));
    assert_int_equal(queue.count, 1);
}

static void lanes_take_turns(void **state)
{
    static const uint64_t keys[] = { 1, 1, 1, 1, 2, 2, 3 };
    static const size_t order[] = { 0, 4, 6, 1, 5, 2, 3 };
    struct queue queue = { 0 };
    struct queued items[7] = { 0 };
    (void)state;
    for (size_t i = 0; i < 7; i++) {
        items[i].key = keys[i];
        queue_push(&queue, &items[i]);
    }
    assert_int_equal(queue.count, 7);
    for (size_t i = 0; i < 7; i++)
        assert_ptr_equal(queue_pop(&queue), &items[order[i]]);
    assert_null(queue_pop(&queue));
    assert_int_equal(queue.count, 0);
}

/* Somebody with a thousand jobs delays the next one by one job only. */
static void a_newcomer_waits_for_one_job(void **state)
{
    struct queue queue = { 0 };
    struct queued crowd[1000] = { 0 };
    struct queued newcomer = { .key = 2 };
    (void)state;
    for (size_t i = 0; i < 1000; i++) {
        crowd[i].key = 1;
        queue_push(&queue, &crowd[i]);
    }
    queue_push(&queue, &newcomer);
    assert_ptr_equal(queue_pop(&queue), &crowd[0]);
    assert_ptr_equal(queue_pop(&queue), &newcomer);
    assert_ptr_equal(queue_pop(&queue), &crowd[1]);
}

static void removing_keeps_the_order_of_the_others(void **state)
{
    struct queue queue = { 0 };
    struct queued items[6] = { 0 };
    (void)state;
    for (size_t i = 0; i < 6; i++) {
        items[i].key = i < 4 ? 1 : 2;
        queue_push(&queue, &items[i]);
    }
    assert_true(queue_remove(&queue, &items[0])); /* first of a lane */
    assert_true(queue_remove(&queue, &items[3])); /* last of a lane */
    assert_true(queue_remove(&queue, &items[4]));
    assert_false(queue_remove(&queue, &items[4]));
    queue_push(&queue, &items[0]);
    assert_ptr_equal(queue_pop(&queue), &items[1]);
    assert_ptr_equal(queue_pop(&queue), &items[5]);
    assert_ptr_equal(queue_pop(&queue), &items[2]);
    assert_ptr_equal(queue_pop(&queue), &items[0]);
    assert_null(queue_pop(&queue));
}

/* Random pushes, pops and removals: nothing is lost, doubled, or overtaken in its lane. */
static void nothing_is_lost(void **state)
{
    const unsigned seed = 20260131;
    struct queue queue = { 0 };
    struct queued items[ITEMS] = { 0 };
    uint64_t stamp[ITEMS] = { 0 }; /* when it was pushed; 0: it is outside */
    uint64_t popped[KEYS] = { 0 }; /* stamp of the last one out of each lane */
    size_t inside = 0;
    (void)state;
    print_message("seed %u\n", seed);
    srand(seed);
    for (uint64_t step = 1; step <= STEPS; step++) {
        size_t i = (size_t)rand() % ITEMS;
        if (stamp[i] == 0) {
            items[i].key = (uint64_t)rand() % KEYS;
            queue_push(&queue, &items[i]);
            stamp[i] = step;
            inside++;
        } else if (rand() % 4 == 0) {
            assert_true(queue_remove(&queue, &items[i]));
            stamp[i] = 0;
            inside--;
        } else {
            struct queued *item = queue_pop(&queue);
            size_t j = (size_t)(item - items);
            assert_true(stamp[j] > popped[item->key]);
            popped[item->key] = stamp[j];
            stamp[j] = 0;
            inside--;
        }
        assert_int_equal(queue.count, inside);
    }
}

static bool is_odd(const struct queued *item)
{
    return item->key % 2 == 1;
}

/* However many lanes a party has, another is next; who does not fit is left where it is. */
static void parties_take_turns(void **state)
{
    static const uint64_t parties[] = { 1, 1, 1, 1, 2 };
    static const size_t order[] = { 0, 4, 1, 2, 3 };
    struct party_queue queue = { 0 };
    struct queued items[5] = { 0 };
    (void)state;
    for (size_t i = 0; i < 5; i++) {
        items[i].key = i;
        party_push(&queue, parties[i], &items[i]);
    }
    for (size_t i = 0; i < 5; i++)
        assert_ptr_equal(party_pop(&queue), &items[order[i]]);
    assert_null(party_pop(&queue));
    party_push(&queue, 1, &items[0]);
    party_push(&queue, 1, &items[3]);
    assert_ptr_equal(party_pop_fit(&queue, is_odd), &items[3]);
    assert_null(party_pop_fit(&queue, is_odd));
    assert_false(party_remove(&queue, 2, &items[0]));
    assert_true(party_remove(&queue, 1, &items[0]));
    assert_int_equal(queue.count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_empty_queue_has_nothing),
        cmocka_unit_test(lanes_take_turns),
        cmocka_unit_test(a_newcomer_waits_for_one_job),
        cmocka_unit_test(removing_keeps_the_order_of_the_others),
        cmocka_unit_test(nothing_is_lost),
        cmocka_unit_test(parties_take_turns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
