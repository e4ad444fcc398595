/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What one principal may use, over all its connections. Own derivation. */
#include "daemon/access/account.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static const struct moment start = { 1000 * SECOND_NS };

static struct accounts accounts_of(void)
{
    return (struct accounts) { .quotas = {
                                   .connections = 2, .jobs = 3, .questions = 1, .loop_ms = 250 } };
}

static struct moment after_ms(int64_t ms)
{
    return moment_plus(start, (struct duration) { ms * MILLISECOND_NS });
}

static void connections_are_counted_together(void **state)
{
    struct accounts accounts = accounts_of();
    (void)state;
    struct account *one = account_join(&accounts, "anna (uid 1000)", start);
    assert_ptr_equal(account_join(&accounts, "anna (uid 1000)", start), one);
    assert_false(account_is_crowded(one));
    assert_ptr_equal(account_join(&accounts, "anna (uid 1000)", start), one);
    assert_true(account_is_crowded(one));
    struct account *other = account_join(&accounts, "token bench-4", start);
    assert_ptr_not_equal(other, one);
    assert_int_not_equal(other->number, one->number);
    assert_false(account_is_crowded(other));
    account_leave(other);
    for (int i = 0; i < 3; i++)
        account_leave(one);
    assert_true(LIST_EMPTY(&accounts.list));
}

static void jobs_and_questions_are_bounded(void **state)
{
    struct accounts accounts = accounts_of();
    struct account *one = account_join(&accounts, "anna (uid 1000)", start);
    struct failure failure = { 0 };
    (void)state;
    for (int i = 0; i < 3; i++)
        assert_true(account_take_job(one, &failure));
    assert_false(account_take_job(one, &failure));
    assert_int_equal(failure.code, FAILURE_OVERLOADED);
    assert_true(failure.retry_ms > 0);
    failure_clear(&failure);
    one->jobs--;
    assert_true(account_take_job(one, &failure));
    assert_true(account_take_question(one, &failure));
    assert_false(account_take_question(one, &failure));
    account_leave(one);
}

/* 250 ms a second: after 350 ms of work at once, 100 ms are owed, which take 400 ms to earn. */
static void time_is_earned_again(void **state)
{
    struct accounts accounts = accounts_of();
    struct account *one = account_join(&accounts, "anna (uid 1000)", start);
    (void)state;
    assert_int_equal(account_pause(one, start).ns, 0);
    account_worked(one, (struct duration) { 350 * MILLISECOND_NS }, start);
    assert_in_range(account_pause(one, start).ns, 399 * MILLISECOND_NS, 401 * MILLISECOND_NS);
    assert_in_range(account_pause(one, after_ms(200)).ns, 199 * MILLISECOND_NS,
                    201 * MILLISECOND_NS);
    assert_int_equal(account_pause(one, after_ms(400)).ns, 0);
    /* However long it was quiet, no more than a second's worth is saved up. */
    account_worked(one, (struct duration) { 251 * MILLISECOND_NS }, after_ms(1000000));
    assert_true(account_pause(one, after_ms(1000000)).ns > 0);
    account_leave(one);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(connections_are_counted_together),
        cmocka_unit_test(jobs_and_questions_are_bounded),
        cmocka_unit_test(time_is_earned_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
