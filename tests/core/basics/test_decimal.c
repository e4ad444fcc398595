/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/decimal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SEED = 20240611, ROUNDS = 20000 };

static void check(struct decimal decimal, const char *digits, int exponent)
{
    assert_int_equal(decimal.count, strlen(digits));
    assert_memory_equal(decimal.digits, digits, strlen(digits));
    assert_int_equal(decimal.exponent, exponent);
}

static void zero_has_no_digits_and_no_sign(void **state)
{
    (void)state;
    check(decimal_round(0.0, 5), "", 0);
    assert_false(decimal_round(-0.0, 5).negative);
    check(decimal_at(-0.0, -3), "", 0);
    check(decimal_shortest(0.0), "", 0);
    struct decimal zero = decimal_round(0.0, 3);
    assert_true(decimal_value(&zero) == 0.0);
}

static void rounding_can_add_a_digit(void **state)
{
    (void)state;
    check(decimal_round(9.9996, 4), "1000", 1);
    check(decimal_round(-0.0997, 2), "10", -1);
    check(decimal_at(99.96, -1), "100", 2);
}

static void a_place_above_the_number_leaves_one_step_or_none(void **state)
{
    (void)state;
    check(decimal_at(7.0, 1), "1", 1);
    check(decimal_at(-7.0, 1), "1", 1);
    assert_true(decimal_at(-7.0, 1).negative);
    check(decimal_at(4.0, 1), "", 0);
    check(decimal_at(5.0, 1), "", 0); /* a tie, to even */
    check(decimal_at(5.0000001, 1), "1", 1);
    check(decimal_at(7.0, 2), "", 0);
    check(decimal_at(7.0, 9), "", 0);
}

static void the_ends_of_the_double_range_work(void **state)
{
    (void)state;
    check(decimal_round(DBL_MAX, 3), "180", 308);
    check(decimal_round(DBL_TRUE_MIN, 2), "49", -324);
    check(decimal_shortest(DBL_TRUE_MIN), "5", -324);
    assert_true(decimal_value(&(struct decimal) { false, -324, 1, { '5' } }) == DBL_TRUE_MIN);
}

static void a_step_away_carries(void **state)
{
    (void)state;
    struct decimal decimal = decimal_round(1.99, 3);
    check(decimal_step_away(&decimal, -2), "200", 0);
    decimal = decimal_round(-9.9, 2);
    check(decimal_step_away(&decimal, -1), "1", 1);
    assert_true(decimal_step_away(&decimal, -1).negative);
    decimal = decimal_round(2.0, 1);
    check(decimal_step_away(&decimal, -2), "201", 0);
    decimal = decimal_round(0.0, 1);
    check(decimal_step_away(&decimal, 4), "1", 4);
}

static void written_with_every_place_filled(void **state)
{
    (void)state;
    char text[64];
    struct decimal decimal = decimal_round(-1234.5, 5);
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 0, 1), "-1234.5");
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 0, 3), "-1234.500");
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 3, 4), "-1.2345");
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 6, 7), "-0.0012345");
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, -3, 0), "-1234500");
    assert_string_equal(decimal_write(text, 5, &decimal, 0, 1), "-123");
    assert_string_equal(decimal_write(text, 1, &decimal, 0, 1), "");
    decimal = decimal_round(-0.0, 5);
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 0, 2), "0.00");
    assert_string_equal(decimal_write(text, sizeof(text), &decimal, 0, 0), "0");
}

/* What the bits of a random number say, read as a double, and 0 where that is none. */
static double random_double(void)
{
    uint64_t bits = 0;
    for (int i = 0; i < 4; i++)
        bits = bits << 16 ^ (uint64_t)random();
    double value = 0.0;
    memcpy(&value, &bits, sizeof(value));
    return isfinite(value) ? value : 0.0;
}

static void shortest_reads_back_exactly(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        double value = random_double();
        struct decimal decimal = decimal_shortest(value);
        assert_true(decimal_value(&decimal) == value);
    }
    check(decimal_shortest(0.1), "1", -1);
    check(decimal_shortest(4.75), "475", 0);
    check(decimal_shortest(0.1 + 0.2), "30000000000000004", -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(zero_has_no_digits_and_no_sign),
        cmocka_unit_test(rounding_can_add_a_digit),
        cmocka_unit_test(a_place_above_the_number_leaves_one_step_or_none),
        cmocka_unit_test(the_ends_of_the_double_range_work),
        cmocka_unit_test(a_step_away_carries),
        cmocka_unit_test(written_with_every_place_filled),
        cmocka_unit_test(shortest_reads_back_exactly),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
