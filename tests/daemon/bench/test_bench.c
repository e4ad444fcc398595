/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which points somebody has to move a lead between; own derivation. */
#include "daemon/bench/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct bench_instrument instruments[] = {
    { .name = "meter", .switched = 1 << 1 }, /* a scanner in front of input 2 */
    { .name = "scope" },
};

static struct probe probes[2] = { { .name = "direct" }, { .name = "x10" } };

static const struct bench bench = {
    .instrument_count = 2, .instruments = instruments, .probe_count = 2, .probes = probes
};

static struct bench_point at(size_t index, size_t instrument, int input, const char *place)
{
    struct bench_point point = { .index = index, .instrument = instrument, .input = input };
    for (size_t i = 0; place[i] != '\0'; i++)
        point.place[i] = place[i];
    return point;
}

static void a_scanner_needs_no_hand(void **state)
{
    (void)state;
    const struct bench_point a = at(0, 0, 1, ""), b = at(1, 0, 1, "");
    const struct bench_point c = at(2, 0, 2, ""), d = at(3, 0, 2, "");
    assert_true(bench_by_hand(&bench, &a));
    assert_false(bench_by_hand(&bench, &c));
    assert_true(bench_hand_between(&bench, &a, &b));
    assert_false(bench_hand_between(&bench, &c, &d));
    assert_false(bench_hand_between(&bench, &a, &c));
    assert_false(bench_hand_between(&bench, &a, &a));
}

static void another_instrument_has_leads_of_its_own(void **state)
{
    (void)state;
    const struct bench_point a = at(0, 0, 1, ""), b = at(1, 1, 1, "");
    assert_false(bench_hand_between(&bench, &a, &b));
}

static void one_place_through_one_probe_needs_no_hand(void **state)
{
    (void)state;
    const struct bench_point a = at(0, 1, 1, "TP4"), b = at(1, 1, 1, "TP4");
    struct bench_point c = at(2, 1, 1, "TP5"), d = at(3, 1, 1, "TP4");
    d.probe = 1;
    assert_false(bench_hand_between(&bench, &a, &b));
    assert_true(bench_hand_between(&bench, &a, &c));
    assert_true(bench_hand_between(&bench, &a, &d));
}

static void dropped_limits_leave_nothing_to_judge_by(void **state)
{
    (void)state;
    struct bench_point point = at(0, 1, 1, "TP4");
    point.limits = limits_none();
    point.limits.low = 1;
    point.reference = 7;
    point.stored.found = 12;
    bench_drop_limits(&point);
    assert_false(limits_present(&point.limits));
    assert_int_equal(point.reference, BENCH_NO_POINT);
    assert_int_equal(point.stored.found, 0);
    assert_string_equal(point.place, "TP4");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_scanner_needs_no_hand),
        cmocka_unit_test(another_instrument_has_leads_of_its_own),
        cmocka_unit_test(one_place_through_one_probe_needs_no_hand),
        cmocka_unit_test(dropped_limits_leave_nothing_to_judge_by),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
