/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can have been missed between looks: the derivation in watched.h, and against drawn looks. */
#include "tools/gradus/basics/watched.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

static void two_looks_bound_what_was_missed(void **state)
{
    struct watched watched = watched_begin(1000);

    (void)state;
    assert_true(watched_sure(&watched, 5000) == 4000);
    watched_look(&watched, 1100);
    watched_look(&watched, 1200);
    watched_look(&watched, 1300);
    assert_true(watched.longest == 200 && watched.looks == 3);
    watched_look(&watched, 1900); /* the instrument was away */
    assert_true(watched.longest == 700);
    watched_look(&watched, 2000);
    assert_true(watched.longest == 700);
    assert_true(watched_sure(&watched, 2000) == 700 && watched_sure(&watched, 3000) == 1100);
}

/* Looks of any length anywhere between the ends: what lasts as long as is said holds a whole one. */
static void whatever_lasts_so_long_holds_a_look(void **state)
{
    unsigned seed = 20261201;

    (void)state;
    for (int run = 0; run < 500; run++) {
        double begins[50], ends[50], now = 0;
        struct watched watched = watched_begin(0);

        for (int k = 0; k < 50; k++) {
            begins[k] = now + rand_r(&seed) % 100;
            now = ends[k] = begins[k] + rand_r(&seed) % 100;
            watched_look(&watched, now);
        }
        double sure = watched_sure(&watched, now);
        for (int n = 0; n < 200; n++) {
            double from = rand_r(&seed) % 10000 / 10000.0 * (now - sure);
            int held = 0;

            for (int k = 0; k < 50; k++)
                held += begins[k] >= from && ends[k] <= from + sure;
            if (now > sure)
                assert_true(held > 0);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_looks_bound_what_was_missed),
        cmocka_unit_test(whatever_lasts_so_long_holds_a_look),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
