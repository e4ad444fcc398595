/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a job is made with: the bench it was asked with stays until it is gone; own derivation. */
#include "daemon/work/job.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* With one reference. */
static struct bench *empty_bench(void)
{
    struct bench *bench = calloc(1, sizeof *bench);
    return bench != NULL ? bench_ref(bench) : NULL;
}

static void a_job_asks_for_one_reading(void **state)
{
    (void)state;
    struct bench *bench = empty_bench();
    assert_non_null(bench);
    struct job *job = job_new(JOB_MEASURE, bench, NULL);
    assert_non_null(job);
    assert_int_equal(job->repeats, 1);
    assert_true(isnan(job->duration));
    assert_null(job->capture.samples);
    job_free(job);
    job_free(NULL);
    bench_unref(bench);
}

/* Whatever is loaded meanwhile: the reference that is left is the job's. */
static void a_job_keeps_its_bench(void **state)
{
    (void)state;
    struct bench *bench = empty_bench();
    assert_non_null(bench);
    struct job *job = job_new(JOB_TALK, bench, NULL);
    assert_non_null(job);
    bench_unref(bench);
    assert_ptr_equal(job->bench, bench);
    snprintf(job->bench->path, sizeof job->bench->path, "still here");
    job->command = strdup("*IDN?");
    job_free(job);
}

static void a_burn_ins_job_comes_first(void **state)
{
    (void)state;
    struct job job = { .kind = JOB_MEASURE };
    assert_false(job_is_first(&job));
    snprintf(job.run, sizeof job.run, "rack-1");
    assert_true(job_is_first(&job));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_job_asks_for_one_reading),
        cmocka_unit_test(a_job_keeps_its_bench),
        cmocka_unit_test(a_burn_ins_job_comes_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
