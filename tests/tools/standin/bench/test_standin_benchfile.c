/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A bench file with a mistake says where it is; own derivation. */
#include "tools/standin/bench/benchfile.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* Reads a text as a bench file, and its seed; false with the problem. */
static bool read_text(const char *text, uint64_t *seed, struct problem *problem)
{
    char path[] = "/tmp/bench-XXXXXX";
    config_t file;
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text, strlen(text)), (ssize_t)strlen(text));
    close(descriptor);
    bool good = benchfile_read(&file, path, problem) && benchfile_seed(&file, seed, problem);
    config_destroy(&file);
    unlink(path);
    return good;
}

static void a_seed_is_a_whole_number(void **state)
{
    (void)state;
    struct problem problem = { "" };
    uint64_t seed = 0;
    assert_true(read_text("", &seed, &problem));
    assert_int_equal(seed, 1);
    assert_true(read_text("seed = 42;", &seed, &problem));
    assert_int_equal(seed, 42);
    assert_false(read_text("\n\nseed = \"many\";", &seed, &problem));
    assert_non_null(strstr(problem.text, "seed: expected a whole number"));
    assert_non_null(strstr(problem.text, ":3"));
}

static void a_slip_is_told_with_its_line(void **state)
{
    (void)state;
    struct problem problem = { "" };
    uint64_t seed;
    assert_false(read_text("seed = 1;\ninstruments = (", &seed, &problem));
    assert_non_null(strstr(problem.text, ":2"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_seed_is_a_whole_number),
        cmocka_unit_test(a_slip_is_told_with_its_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
