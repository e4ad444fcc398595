/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Roles, tokens, and what slows down whoever guesses them; own derivation, from what is promised. */
#include "daemon/access/guard.h"
#include "daemon/access/role.h"
#include "daemon/access/tokens.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <arpa/inet.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Each may all that the ones before it may, and nothing of what comes behind. */
static void a_role_has_what_the_ones_below_it_have(void **state)
{
    (void)state;
    static const enum role rising[] = { ROLE_NONE, ROLE_LOOK, ROLE_MEASURE, ROLE_RUN,
                                        ROLE_ADMINISTER };
    for (size_t i = 0; i < ROLE_COUNT; i++) {
        for (size_t j = 0; j < ROLE_COUNT; j++)
            assert_int_equal(role_may(rising[i], rising[j]), i >= j);
        assert_int_equal(role_is_logged(rising[i]),
                         rising[i] == ROLE_RUN || rising[i] == ROLE_ADMINISTER);
    }
    enum role role = ROLE_RUN;
    assert_false(role_of("root", &role));
    assert_int_equal(role, ROLE_RUN);
    assert_true(role_of("measure", &role));
    assert_int_equal(role, ROLE_MEASURE);
}

static uint64_t key_of(int family, const char *text)
{
    struct sockaddr_storage address = { .ss_family = (sa_family_t)family };
    void *at = family == AF_INET ? (void *)&((struct sockaddr_in *)(void *)&address)->sin_addr
                                 : (void *)&((struct sockaddr_in6 *)(void *)&address)->sin6_addr;
    assert_int_equal(inet_pton(family, text, at), 1);
    return guard_key(&address);
}

static void ten_wrong_tokens_a_minute_are_looked_at(void **state)
{
    (void)state;
    struct guard *guard = calloc(1, sizeof *guard);
    const struct moment start = { INT64_C(1000) * SECOND_NS };
    const struct moment later = moment_plus(start, (struct duration) { 61 * SECOND_NS });
    uint64_t key = key_of(AF_INET, "192.0.2.7");
    assert_non_null(guard);
    for (int i = 0; i < GUARD_TRIES; i++) {
        assert_int_equal(guard_wait(guard, key, start).ns, 0);
        assert_int_equal(guard_failed(guard, key, start), i == 0 || i == GUARD_TRIES - 1);
    }
    assert_int_equal(guard_wait(guard, key, start).ns, 60 * SECOND_NS);
    assert_int_equal(guard_wait(guard, key, later).ns, 0);
    free(guard);
}

/* A host has a /64 to itself (RFC 4291, 2.5.4): all of it counts as one. */
static void addresses_of_one_host_count_as_one(void **state)
{
    (void)state;
    assert_true(key_of(AF_INET6, "2001:db8::1") == key_of(AF_INET6, "2001:db8::ffff:2"));
    assert_true(key_of(AF_INET6, "2001:db8::1") != key_of(AF_INET6, "2001:db8:0:1::1"));
    assert_true(key_of(AF_INET, "192.0.2.7") != key_of(AF_INET, "192.0.2.8"));
    assert_true(key_of(AF_INET6, "::") != 0);
}

/* A new token in a file of its own; the token's text and the file's path. */
static void make_token(const char *name, const char *path, char text[128])
{
    struct failure failure = { 0 };
    FILE *out = tmpfile();
    assert_non_null(out);
    assert_true(tokens_make(path, name, ROLE_MEASURE, 2, out, &failure));
    rewind(out);
    assert_non_null(fgets(text, 128, out));
    text[strcspn(text, "\n")] = '\0';
    fclose(out);
}

static void a_token_is_found_until_it_runs_out(void **state)
{
    (void)state;
    char folder[] = "/tmp/tokens-XXXXXX", path[64], text[128];
    struct tokens tokens = { 0 };
    struct failure failure = { 0 };
    struct timespec now;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/tokens", folder);
    make_token("bench-4", path, text);
    assert_true(tokens_read(&tokens, path, &failure));
    assert_int_equal(timespec_get(&now, TIME_UTC), TIME_UTC);
    const struct wall_time today = { now.tv_sec * SECOND_NS };
    const struct wall_time over = { (now.tv_sec + INT64_C(4) * 86400) * SECOND_NS };
    const struct token *found = tokens_find(&tokens, text, today);
    assert_non_null(found);
    assert_string_equal(found->name, "bench-4");
    assert_int_equal(found->role, ROLE_MEASURE);
    assert_true(tokens_hold(&tokens, found->digest, today));
    assert_false(tokens_hold(&tokens, found->digest, over));
    assert_null(tokens_find(&tokens, text, over));
    text[0] = text[0] == 'x' ? 'y' : 'x';
    assert_null(tokens_find(&tokens, text, today));
    tokens_free(&tokens);
    unlink(path);
    rmdir(folder);
}

static void a_file_that_others_may_write_is_refused(void **state)
{
    (void)state;
    char folder[] = "/tmp/tokens-XXXXXX", path[64], text[128];
    struct tokens tokens = { 0 };
    struct failure failure = { 0 };
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/tokens", folder);
    make_token("bench-4", path, text);
    assert_int_equal(chmod(path, 0660), 0);
    assert_false(tokens_read(&tokens, path, &failure));
    assert_int_not_equal(failure.code, FAILURE_NONE);
    assert_int_equal(tokens.count, 0);
    unlink(path);
    rmdir(folder);
}

static void names_are_plain(void **state)
{
    (void)state;
    assert_true(tokens_is_name("bench-4_a.b"));
    assert_false(tokens_is_name(""));
    assert_false(tokens_is_name("bench 4"));
    assert_false(tokens_is_name("a\nb"));
    assert_false(
        tokens_is_name("0123456789012345678901234567890123456789012345678901234567890123"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_role_has_what_the_ones_below_it_have),
        cmocka_unit_test(ten_wrong_tokens_a_minute_are_looked_at),
        cmocka_unit_test(addresses_of_one_host_count_as_one),
        cmocka_unit_test(a_token_is_found_until_it_runs_out),
        cmocka_unit_test(a_file_that_others_may_write_is_refused),
        cmocka_unit_test(names_are_plain),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
