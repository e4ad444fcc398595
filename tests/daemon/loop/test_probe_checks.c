/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether a probe's last check was good and recent: for each probe and input by itself. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/loop/probe_checks.h"

static struct wall_time at(int64_t seconds)
{
    return (struct wall_time) { seconds * SECOND_NS };
}

/* Two points on one scope, on inputs 1 and 2, through one divider; a third without one. */
struct setting {
    struct bench_instrument instrument;
    struct probe probes[2];
    struct bench_point points[3];
    struct bench bench;
    struct probe_checks *checks;
};

static void set_up(struct setting *setting)
{
    memset(setting, 0, sizeof *setting);
    strcpy(setting->instrument.name, "scope");
    strcpy(setting->probes[0].name, "direct");
    strcpy(setting->probes[1].name, "x10");
    setting->probes[0].load_resistance = NAN;
    setting->probes[1].load_resistance = 1e6;
    for (int i = 0; i < 3; i++) {
        setting->points[i].input = i + 1;
        setting->points[i].probe = i < 2 ? 1 : 0;
    }
    setting->bench.instruments = &setting->instrument;
    setting->bench.probes = setting->probes;
    setting->checks = probe_checks_new();
    assert_non_null(setting->checks);
}

static bool good(const struct setting *setting, int point, struct wall_time now,
                 struct failure *failure)
{
    failure_clear(failure);
    return probe_checks_good(setting->checks, &setting->bench, &setting->points[point], 60, now,
                             failure);
}

static void note(const struct setting *setting, int point, enum compensation_kind kind,
                 struct wall_time now)
{
    const struct compensation found = { .kind = kind, .ratio = 1.1 };
    assert_true(
        probe_checks_note(setting->checks, &setting->bench, &setting->points[point], &found, now));
}

static void test_never_checked(void **state)
{
    (void)state;
    struct setting setting;
    struct failure failure;
    set_up(&setting);
    assert_false(good(&setting, 0, at(0), &failure));
    assert_int_equal(failure.code, FAILURE_MISTAKE);
    assert_non_null(strstr(failure.what, "no check of probe x10"));
    assert_true(good(&setting, 2, at(0), &failure)); /* no divider */
    probe_checks_free(setting.checks);
}

static void test_good_and_recent(void **state)
{
    (void)state;
    struct setting setting;
    struct failure failure;
    set_up(&setting);
    note(&setting, 0, COMPENSATION_RIGHT, at(100));
    assert_true(good(&setting, 0, at(160), &failure));
    assert_false(good(&setting, 1, at(160), &failure)); /* another input */
    assert_false(good(&setting, 0, at(161), &failure));
    assert_non_null(strstr(failure.what, "61 s ago"));
    note(&setting, 0, COMPENSATION_OVER, at(162));
    assert_false(good(&setting, 0, at(163), &failure));
    assert_non_null(strstr(failure.what, "over-compensated"));
    note(&setting, 0, COMPENSATION_RIGHT, at(164));
    assert_true(good(&setting, 0, at(165), &failure));
    probe_checks_free(setting.checks);
}

static void test_none(void **state)
{
    (void)state;
    probe_checks_free(NULL);
}

static struct wall_time recalled(struct probe_checks *checks, const char *body,
                                 struct wall_time when)
{
    assert_true(probe_checks_recall(checks, body, when));
    return when;
}

/* What was put on record comes back as it was; texts that say nothing change nothing. */
static void test_recalled(void **state)
{
    (void)state;
    struct setting setting;
    struct failure failure;
    struct text body = { 0 };
    const struct compensation found = { .kind = COMPENSATION_RIGHT, .ratio = 1.0 };
    set_up(&setting);
    probe_checks_encode(&body, &setting.bench, &setting.points[0], &found);
    struct wall_time now = recalled(setting.checks, body.bytes, at(5));
    assert_true(good(&setting, 0, now, &failure));
    assert_false(good(&setting, 1, now, &failure));
    recalled(setting.checks, "{}", at(9));
    recalled(setting.checks, "nonsense", at(9));
    recalled(setting.checks,
             "{\"probe\":\"x10\",\"instrument\":\"scope\",\"input\":1,\"state\":\"fine\"}", at(9));
    assert_true(good(&setting, 0, at(65), &failure));
    assert_false(good(&setting, 0, at(66), &failure));
    text_free(&body);
    probe_checks_free(setting.checks);
}

/* A clock that was set back must not make an old check young. */
static void test_later_than_now(void **state)
{
    (void)state;
    struct setting setting;
    struct failure failure;
    set_up(&setting);
    note(&setting, 0, COMPENSATION_RIGHT, at(100));
    assert_false(good(&setting, 0, at(99), &failure));
    assert_non_null(strstr(failure.what, "later than now"));
    probe_checks_free(setting.checks);
}

/* A zero of leads is kept beside the check of the same probe, and is none itself. */
static void test_zeros(void **state)
{
    (void)state;
    struct setting setting;
    struct failure failure;
    struct text body = { 0 };
    const struct lead_zero zero = { LEADS_ZEROED, 0.25, 0.001, at(7) };
    set_up(&setting);
    const struct bench_point *points = setting.points;
    assert_int_equal(probe_checks_zero(setting.checks, &setting.bench, points).state, LEADS_STATED);
    probe_checks_encode_zero(&body, &setting.bench, points, &zero);
    assert_true(probe_checks_recall_zero(setting.checks, body.bytes, zero.when));
    assert_true(probe_checks_recall_zero(setting.checks, "{}", at(1)));
    assert_true(probe_checks_recall_zero(
        setting.checks, "{\"probe\":\"x10\",\"instrument\":\"scope\",\"input\":1}", at(1)));
    struct lead_zero found = probe_checks_zero(setting.checks, &setting.bench, points);
    assert_int_equal(found.state, LEADS_ZEROED);
    assert_true(found.resistance == 0.25 && found.standard == 0.001 &&
                found.when.ns == zero.when.ns);
    assert_int_equal(probe_checks_zero(setting.checks, &setting.bench, points + 1).state,
                     LEADS_STATED);
    assert_false(good(&setting, 0, at(7), &failure));
    assert_non_null(strstr(failure.what, "no check"));
    note(&setting, 0, COMPENSATION_RIGHT, at(8));
    assert_true(probe_checks_zero(setting.checks, &setting.bench, points).when.ns == zero.when.ns);
    assert_true(probe_checks_note_zero(setting.checks, &setting.bench, points + 2, &zero));
    assert_true(good(&setting, 2, at(9), &failure)); /* no divider, zeroed or not */
    text_free(&body);
    probe_checks_free(setting.checks);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_never_checked), cmocka_unit_test(test_good_and_recent),
        cmocka_unit_test(test_recalled),      cmocka_unit_test(test_later_than_now),
        cmocka_unit_test(test_none),          cmocka_unit_test(test_zeros),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
