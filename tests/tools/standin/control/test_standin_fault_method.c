/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Faults that cannot be are refused, each with what is wrong; own derivation. */
#include "tools/standin/control/fault_method.h"

#include <string.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void check_refused(const char *params, const char *because)
{
    struct bench bench = { 0 };
    struct problem problem = { "" };
    json_t *json = json_loads(params, 0, NULL);
    assert_non_null(json);
    assert_false(fault_method(&bench, json, &problem));
    assert_non_null(strstr(problem.text, because));
    json_decref(json);
}

static void nonsense_is_refused(void **state)
{
    (void)state;
    check_refused("{\"instrument\": \"a\", \"kind\": \"late\", \"count\": 0}", "out of bounds");
    check_refused("{\"instrument\": \"a\", \"kind\": \"late\", \"probability\": 1.5}",
                  "out of bounds");
    check_refused("{\"instrument\": \"a\", \"kind\": \"late\", \"delay_ms\": -1}", "out of bounds");
    check_refused("{\"instrument\": \"a\", \"kind\": \"late\", \"colour\": 1}", "colour");
    check_refused("{\"instrument\": \"nobody\", \"kind\": \"late\"}", "nobody");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nonsense_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
