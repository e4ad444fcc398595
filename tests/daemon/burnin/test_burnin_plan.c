/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a burn-in does what: a month of virtual time, clocks that jump, orders of visits. */
#include "daemon/burnin/burnin_plan.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#define SECOND INT64_C(1000000000)

static const int64_t epoch = 1767225600 * SECOND; /* 2026-01-01T00:00:00Z */

static struct burnin_schedule month(void)
{
    const struct bench_burnin plan = {
        .every_s = 60,
        .warm_up_s = 600,
        .phase_count = 3,
        .phases = { { .duration_s = 3600 }, { .duration_s = 30 * 86400.0 }, { .duration_s = 90 } }
    };
    return burnin_schedule(&plan, epoch + 17 * SECOND);
}

static void test_schedule(void **state)
{
    struct burnin_schedule schedule = month();
    (void)state;
    assert_int_equal(schedule.first, epoch + 60 * SECOND);
    assert_int_equal(schedule.warm_until, epoch + 660 * SECOND);
    assert_int_equal(burnin_rounds(&schedule), 60 + 43200 + 2);
    assert_int_equal(burnin_due(&schedule, 61), epoch + 3660 * SECOND);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 60)), 0);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 61)), 1);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 43260)), 1);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 43261)), 2);
    assert_int_equal(burnin_phase(&schedule, burnin_end(&schedule) + SECOND), 2);
}

/* Every wake is a little late, as timers are; no round may drift, come twice or be left out. */
static void test_a_month_keeps_its_phase(void **state)
{
    struct burnin_schedule schedule = month();
    int64_t now = epoch + 17 * SECOND;
    int64_t last = 0;
    struct burnin_turn turn;
    (void)state;
    for (;;) {
        turn = burnin_turn(&schedule, last, now);
        assert_int_equal(turn.missed, 0);
        if (turn.ended)
            break;
        if (turn.round > 0) {
            assert_int_equal(turn.round, last + 1);
            assert_in_range(turn.late, 0, 3 * SECOND);
            assert_int_equal((now - turn.late) % (60 * SECOND), 0);
            last = turn.round;
            now += 41 * SECOND;
        } else {
            assert_true(turn.wake > now);
            now = turn.wake + last % 4 * SECOND / 2;
        }
    }
    assert_int_equal(last, burnin_rounds(&schedule));
}

static void test_missed_rounds_are_told(void **state)
{
    struct burnin_schedule schedule = month();
    (void)state;
    struct burnin_turn turn = burnin_turn(&schedule, 4, burnin_due(&schedule, 9) + 5 * SECOND);
    assert_int_equal(turn.round, 9);
    assert_int_equal(turn.missed, 4);
    assert_int_equal(turn.late, 5 * SECOND);
    turn = burnin_turn(&schedule, 43260, burnin_end(&schedule) + 1);
    assert_true(turn.ended);
    assert_int_equal(turn.missed, 2);
}

static void test_jumps_do_not_move_plan_time(void **state)
{
    struct burnin_time time = burnin_time_begin((struct burnin_clock) { epoch, 5 * SECOND });
    struct burnin_clock clock = { epoch + 100 * SECOND, 105 * SECOND };
    (void)state;
    assert_int_equal(burnin_time_now(&time, clock), epoch + 100 * SECOND);
    assert_int_equal(burnin_time_jump(&time, clock), 0);
    clock.wall += SECOND / 5;
    assert_int_equal(burnin_time_jump(&time, clock), 0);
    clock.wall = epoch - 3600 * SECOND;
    assert_int_equal(burnin_time_jump(&time, clock), -3700 * SECOND);
    assert_int_equal(burnin_time_jump(&time, clock), 0);
    assert_int_equal(burnin_time_now(&time, clock), epoch + 100 * SECOND);
    clock.wall = epoch + 100 * SECOND;
    assert_int_equal(burnin_time_jump(&time, clock), 3700 * SECOND);
}

static void test_plan_time_over_restarts(void **state)
{
    struct burnin_time before = burnin_time_begin((struct burnin_clock) { epoch, 5 * SECOND });
    (void)state;
    /* The daemon alone was restarted, while the wall clock was set back: the steady clock tells. */
    struct burnin_clock clock = { epoch - 900 * SECOND, 1005 * SECOND };
    struct burnin_time time = burnin_time_resume(&before, true, epoch, clock);
    assert_int_equal(burnin_time_now(&time, clock), epoch + 1000 * SECOND);
    /* Another boot: the wall clock tells, ... */
    clock = (struct burnin_clock) { epoch + 7200 * SECOND, 3 * SECOND };
    time = burnin_time_resume(&before, false, epoch + 50 * SECOND, clock);
    assert_int_equal(burnin_time_now(&time, clock), epoch + 7200 * SECOND);
    /* ... unless it would go back behind what is on record. */
    clock.wall = epoch - 86400 * SECOND;
    time = burnin_time_resume(&before, false, epoch + 50 * SECOND, clock);
    assert_int_equal(burnin_time_now(&time, clock), epoch + 50 * SECOND);
    assert_int_equal(burnin_time_jump(&time, clock), 0);
    /* A wall clock that had been set before the other boot is still as far from plan time. */
    clock = (struct burnin_clock) { epoch + 3700 * SECOND, 105 * SECOND };
    assert_int_equal(burnin_time_jump(&before, clock), 3600 * SECOND);
    clock = (struct burnin_clock) { epoch + 10800 * SECOND, 3 * SECOND };
    time = burnin_time_resume(&before, false, epoch + 50 * SECOND, clock);
    assert_int_equal(burnin_time_now(&time, clock), epoch + 7200 * SECOND);
    assert_int_equal(burnin_time_jump(&time, clock), 0);
}

/* Changes of instrument, input, function and level from visit to visit. */
static size_t changes(const struct burnin_visit *visits, size_t count)
{
    size_t sum = 0;
    for (size_t i = 1; i < count; i++)
        sum += visits[i].input != visits[i - 1].input ||
               visits[i].function != visits[i - 1].function ||
               visits[i].level != visits[i - 1].level;
    return sum;
}

static void test_order(void **state)
{
    struct burnin_visit visits[24];
    (void)state;
    for (size_t i = 0; i < 24; i++)
        visits[i] = (struct burnin_visit) { .slot = i,
                                            .instrument = i % 2,
                                            .input = 1 + (int)(i / 2 % 3),
                                            .function = (int)(i / 6 % 2),
                                            .level = i / 12 != 0 ? 5.0 : (double)NAN,
                                            .factor = 1 };
    burnin_order(visits, 24, false);
    for (size_t i = 0; i < 24; i++)
        assert_int_equal(visits[i].instrument, i / 12);
    for (size_t i = 1; i < 12; i++)
        assert_true(visits[i].input >= visits[i - 1].input);
    assert_int_equal(visits[0].instrument, 0);
    size_t forward = changes(visits, 24);
    size_t end = visits[23].slot;
    burnin_order(visits, 24, true);
    assert_int_equal(visits[0].slot, end);
    assert_int_equal(changes(visits, 24), forward);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_schedule),
        cmocka_unit_test(test_a_month_keeps_its_phase),
        cmocka_unit_test(test_missed_rounds_are_told),
        cmocka_unit_test(test_jumps_do_not_move_plan_time),
        cmocka_unit_test(test_plan_time_over_restarts),
        cmocka_unit_test(test_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
