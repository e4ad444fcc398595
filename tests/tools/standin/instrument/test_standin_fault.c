/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which faults hit which replies; own derivation. */
#include "tools/standin/instrument/fault.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void a_fault_is_had_by_its_name(void **state)
{
    (void)state;
    enum fault_kind kind = FAULT_LATE;
    assert_true(fault_named("half", &kind));
    assert_int_equal(kind, FAULT_HALF);
    assert_true(fault_named("restart", &kind));
    assert_int_equal(kind, FAULT_RESTART);
    assert_false(fault_named("melt", &kind));
    assert_false(fault_named("", &kind));
}

static void a_counted_fault_hits_so_many_replies(void **state)
{
    (void)state;
    struct faults faults = { 0 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    assert_false(faults_any(&faults));
    assert_false(faults_take(&faults, FAULT_SILENT, rng));
    faults.armed[FAULT_SILENT] = (struct fault) { .armed = true, .left = 2, .probability = 1 };
    assert_true(faults_any(&faults));
    assert_false(faults_take(&faults, FAULT_HALF, rng));
    assert_true(faults_take(&faults, FAULT_SILENT, rng));
    assert_true(faults_take(&faults, FAULT_SILENT, rng));
    assert_false(faults_take(&faults, FAULT_SILENT, rng));
    gsl_rng_free(rng);
}

/* Of 4000 with a probability of 0.25, 1000 within six times sqrt(4000 * 0.25 * 0.75) = 27.4. */
static void a_fault_without_end_hits_its_share(void **state)
{
    (void)state;
    struct faults faults = { 0 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    int hits = 0;
    gsl_rng_set(rng, 7);
    faults.armed[FAULT_LATE] = (struct fault) { .armed = true, .left = -1, .probability = 0.25 };
    for (int i = 0; i < 4000; i++)
        hits += faults_take(&faults, FAULT_LATE, rng) ? 1 : 0;
    assert_in_range(hits, 1000 - 165, 1000 + 165);
    assert_true(faults_any(&faults));
    gsl_rng_free(rng);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_fault_is_had_by_its_name),
        cmocka_unit_test(a_counted_fault_hits_so_many_replies),
        cmocka_unit_test(a_fault_without_end_hits_its_share),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
