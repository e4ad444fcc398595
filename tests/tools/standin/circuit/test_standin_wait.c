/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The simulated scope that waits, and sources on which a fault comes and goes. */
#include "tools/standin/circuit/scope_wait.h"
#include "tools/standin/circuit/spread.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

static struct source faulty(double every, double width, double change, double burst)
{
    struct problem problem;
    struct source source = source_default(SOURCE_DC);

    source.level = 5.0;
    source.fault_every = every;
    source.fault_width = width;
    source.fault_change = change;
    source.fault_burst = burst;
    assert_true(source_prepare(&source, 0.0, &problem));
    return source;
}

/* Counted by edges on a fine grid, and by the source itself. */
static void faults_come_once_a_turn(void **state)
{
    struct source source = faulty(0.5, 2e-3, -5.0, 3.0);
    double begun = 0.0, away = 0.0;
    double last = 5.0;

    (void)state;
    for (double at = 0.0; at < 10.0; at += 1e-4) {
        double level = source_level(&source, at);

        begun += level < last;
        away += level == 0.0 ? 1e-4 : 0.0;
        last = level;
    }
    assert_true(begun == 60.0);
    assert_true(source_faults(&source, 10.0) == 60.0);
    assert_true(fabs(away - 60.0 * 2e-3) < 60.0 * 1e-4);
    for (double at = 0.0; at < 9.0;) {
        double edge = source_next_edge(&source, at);

        assert_true(edge > at);
        assert_true(source_level(&source, edge - 1e-7) != source_level(&source, edge + 1e-7));
        at = edge + 1e-7;
    }
}

static void a_fault_fits_into_its_turn(void **state)
{
    struct source source = source_default(SOURCE_DC);
    struct problem problem;

    (void)state;
    source.fault_every = 1.0;
    source.fault_width = 0.11;
    assert_false(source_prepare(&source, 0.0, &problem));
}

static struct scope waiting(bool rising, double level, gsl_rng *rng)
{
    struct scope scope;

    scope_init(&scope, &scope_tarnwerk, rng, 0.0);
    scope_set_points(&scope, 1000);
    scope_set_time(&scope, 10e-3);
    scope.trigger =
        (struct scope_trigger) { .source = 1, .rising = rising, .level = level, .share = 0.2 };
    return scope;
}

static void a_scope_waits_for_what_comes(void **state)
{
    struct source source = faulty(0.5, 1e-3, -5.0, 1.0);
    struct tie ties[SCOPE_INPUTS] = { { &source, probe_wire() } };
    gsl_rng *rng = spread_new(1, "wait");
    struct scope scope = waiting(false, 2.5, rng);
    double end = 0.0, now = 0.0;

    (void)state;
    scope_arm(&scope, 0.0, rng);
    while (!scope_look(&scope, ties, now, &end, rng)) {
        assert_false(scope.inputs[0].recorded);
        now += 5e-3;
        assert_true(now < 1.0);
    }
    /* The first sample beyond is at the share of the record that lies before, or one further. */
    double edge = source_next_edge(&source, 0.0);
    assert_true(fabs(end - (edge + 0.8 * 10e-3)) < 1e-5);
    for (size_t n = 0; n < 1000; n++)
        assert_true((scope.inputs[0].codes[n] < 8) == (n >= 200 && n < 300));
    /* It never rises through 6 V. */
    scope_clear(&scope);
    scope = waiting(true, 6.0, rng);
    scope_arm(&scope, 0.0, rng);
    assert_false(scope_look(&scope, ties, 5.0, &end, rng));
    scope_clear(&scope);
    gsl_rng_free(rng);
}

/* What passes the level while the part before it is still being filled is not seen. */
static void the_part_before_is_filled_first(void **state)
{
    struct source source = faulty(0.5, 1e-3, -5.0, 1.0);
    struct tie ties[SCOPE_INPUTS] = { { &source, probe_wire() } };
    gsl_rng *rng = spread_new(1, "wait");
    struct scope scope = waiting(false, 2.5, rng);
    double edge = source_next_edge(&source, 0.0), end = 0.0;

    (void)state;
    scope_arm(&scope, edge - 1e-3, rng);
    assert_true(scope_look(&scope, ties, 2.0, &end, rng));
    assert_true(end > edge + 0.05);
    scope_clear(&scope);
    gsl_rng_free(rng);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_come_once_a_turn),
        cmocka_unit_test(a_fault_fits_into_its_turn),
        cmocka_unit_test(a_scope_waits_for_what_comes),
        cmocka_unit_test(the_part_before_is_filled_first),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
