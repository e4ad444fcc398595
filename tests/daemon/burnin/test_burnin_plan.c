/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a burn-in does what: a month of virtual time, clocks that jump, orders of visits. */
#include "daemon/burnin/burnin_plan.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

enum { EPOCH_S = 1767225600 }; /* 2026-01-01T00:00:00Z */

static const struct duration second = { SECOND_NS };

/* Plan time so many seconds after the epoch. */
static struct plan_time at(int64_t seconds)
{
    return (struct plan_time) { (EPOCH_S + seconds) * SECOND_NS };
}

/* The clocks: the wall's so many seconds after the epoch, the steady one's since the boot. */
static struct burnin_clock clocks(int64_t wall, int64_t steady)
{
    return (struct burnin_clock) { { (EPOCH_S + wall) * SECOND_NS }, { steady * SECOND_NS } };
}

#define assert_time(time, seconds)      assert_int_equal((time).ns, at(seconds).ns)
#define assert_lasts(duration, seconds) assert_int_equal((duration).ns, (seconds)*SECOND_NS)

static struct burnin_schedule month(void)
{
    const struct bench_burnin plan = {
        .every_s = 60,
        .warm_up_s = 600,
        .phase_count = 3,
        .phases = { { .duration_s = 3600 }, { .duration_s = 30 * 86400.0 }, { .duration_s = 90 } }
    };
    return burnin_schedule(&plan, at(17));
}

static void test_schedule(void **state)
{
    struct burnin_schedule schedule = month();
    (void)state;
    assert_time(schedule.first, 60);
    assert_time(schedule.warm_until, 660);
    assert_int_equal(burnin_rounds(&schedule), 60 + 43200 + 2);
    assert_time(burnin_due(&schedule, 61), 3660);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 60)), 0);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 61)), 1);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 43260)), 1);
    assert_int_equal(burnin_phase(&schedule, burnin_due(&schedule, 43261)), 2);
    assert_int_equal(burnin_phase(&schedule, plan_time_plus(burnin_end(&schedule), second)), 2);
}

/* Every wake is a little late, as timers are; no round may drift, come twice or be left out. */
static void test_a_month_keeps_its_phase(void **state)
{
    struct burnin_schedule schedule = month();
    struct plan_time now = at(17);
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
            assert_in_range(turn.late.ns, 0, 3 * SECOND_NS);
            assert_int_equal((now.ns - turn.late.ns) % (60 * SECOND_NS), 0);
            last = turn.round;
            now = plan_time_plus(now, duration_times(second, 41));
        } else {
            assert_true(plan_time_before(now, turn.wake));
            now = plan_time_plus(turn.wake, (struct duration) { last % 4 * SECOND_NS / 2 });
        }
    }
    assert_int_equal(last, burnin_rounds(&schedule));
}

static void test_missed_rounds_are_told(void **state)
{
    struct burnin_schedule schedule = month();
    (void)state;
    struct burnin_turn turn = burnin_turn(
        &schedule, 4, plan_time_plus(burnin_due(&schedule, 9), duration_times(second, 5)));
    assert_int_equal(turn.round, 9);
    assert_int_equal(turn.missed, 4);
    assert_lasts(turn.late, 5);
    turn = burnin_turn(&schedule, 43260, burnin_end(&schedule));
    assert_true(turn.ended);
    assert_int_equal(turn.missed, 2);
}

static void test_jumps_do_not_move_plan_time(void **state)
{
    struct burnin_time time = burnin_time_begin(clocks(0, 5));
    struct burnin_clock clock = clocks(100, 105);
    (void)state;
    assert_time(burnin_time_now(&time, clock), 100);
    assert_lasts(burnin_time_jump(&time, clock), 0);
    clock.wall.ns += SECOND_NS / 5;
    assert_lasts(burnin_time_jump(&time, clock), 0);
    clock.wall = clocks(-3600, 0).wall;
    assert_lasts(burnin_time_jump(&time, clock), -3700);
    assert_lasts(burnin_time_jump(&time, clock), 0);
    assert_time(burnin_time_now(&time, clock), 100);
    clock.wall = clocks(100, 0).wall;
    assert_lasts(burnin_time_jump(&time, clock), 3700);
}

static void test_plan_time_over_restarts(void **state)
{
    struct burnin_time before = burnin_time_begin(clocks(0, 5));
    (void)state;
    /* The daemon alone was restarted, while the wall clock was set back: the steady clock tells. */
    struct burnin_clock clock = clocks(-900, 1005);
    struct burnin_time time = burnin_time_resume(&before, true, at(0), clock);
    assert_time(burnin_time_now(&time, clock), 1000);
    /* Another boot: the wall clock tells, ... */
    clock = clocks(7200, 3);
    time = burnin_time_resume(&before, false, at(50), clock);
    assert_time(burnin_time_now(&time, clock), 7200);
    /* ... unless it would go back behind what is on record. */
    clock.wall = clocks(-86400, 0).wall;
    time = burnin_time_resume(&before, false, at(50), clock);
    assert_time(burnin_time_now(&time, clock), 50);
    assert_lasts(burnin_time_jump(&time, clock), 0);
    /* A wall clock that had been set before the other boot is still as far from plan time. */
    clock = clocks(3700, 105);
    assert_lasts(burnin_time_jump(&before, clock), 3600);
    clock = clocks(10800, 3);
    time = burnin_time_resume(&before, false, at(50), clock);
    assert_time(burnin_time_now(&time, clock), 7200);
    assert_lasts(burnin_time_jump(&time, clock), 0);
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
