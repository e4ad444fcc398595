/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A database that cannot be written: full, read-only, locked, damaged, gone.
 * What was taken is held, said loudly, and written exactly once when it can
 * be; commits are grouped and flushed (own rules).
 */
#include "failing_disk.h"
#include "store_case.h"

#include <event2/event.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmocka.h>

static const struct wall_time second = { SECOND_NS };

static void open_store(struct store_case *it)
{
    struct failure failure = { 0 };
    if (!store_case_open(it, &failure))
        fail_msg("%s", failure.what);
}

static void append(struct store_case *it, int count)
{
    for (int i = 0; i < count; i++)
        assert_true(store_case_append(it, i, second, NULL));
}

/* All of `count` readings are there once, and in one chain. */
static void check_all(struct store_case *it, int64_t count)
{
    struct store_verify verify;
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.readings, count);
    assert_int_equal(store_case_number(it, "SELECT count(DISTINCT sequence) FROM readings"), count);
}

/* So many rows are known to be lost, and what came behind them is in one chain. */
static void check_lost(struct store_case *it, int64_t lost, int64_t count)
{
    struct store_verify verify;
    char what[80];
    snprintf(what, sizeof what, "rows 1 to %d are missing since ", (int)lost);
    assert_memory_equal(store_case_verify(it, &verify), what, strlen(what));
    assert_int_equal(verify.first_bad, 1);
    assert_int_equal(verify.missing, lost);
    assert_int_equal(verify.readings, count);
    assert_int_equal(store_view(it->store).missing, lost);
}

/* While a fault lasts, readings are held up to the bound; after it all of them are written. */
static void ride_out(struct store_case *it, _Atomic int *fault, int code, enum store_state state)
{
    open_store(it);
    append(it, 3);
    store_case_until_durable(it, 3);
    *fault = code;
    append(it, STORE_CASE_HOLD);
    store_case_until_state(it, state);
    assert_false(store_case_append(it, 1, second, NULL));
    struct store_view view = store_view(it->store);
    assert_int_equal(view.held, STORE_CASE_HOLD);
    assert_int_equal(view.refused, 1);
    assert_int_equal(view.failure.code, FAILURE_SYSTEM);
    assert_int_equal(it->durable, 3);
    *fault = 0;
    store_case_until_durable(it, 3 + STORE_CASE_HOLD);
    store_case_until_state(it, STORE_WELL);
    while (it->changes < 1) /* both turns may come as one */
        event_base_loop(it->base, EVLOOP_ONCE);
    check_all(it, 3 + STORE_CASE_HOLD);
}

static void test_full(void **state)
{
    ride_out(*state, &failing_write, SQLITE_FULL, STORE_FULL);
}

static void test_read_only(void **state)
{
    ride_out(*state, &failing_write, SQLITE_READONLY, STORE_READ_ONLY);
}

static void test_disk_errors(void **state)
{
    ride_out(*state, &failing_write, SQLITE_IOERR_WRITE, STORE_FAILING);
}

/* A failed flush leaves it open whether the rows arrived; each must be there once all the same. */
static void test_flush_that_fails(void **state)
{
    ride_out(*state, &failing_sync, SQLITE_IOERR_FSYNC, STORE_FAILING);
}

/* As the last, with the process ending in between: what was not acknowledged may be there, once. */
static void test_flush_that_fails_at_the_end(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 3);
    store_case_until_durable(it, 3);
    failing_sync = SQLITE_IOERR_FSYNC;
    append(it, 4);
    store_case_until_state(it, STORE_FAILING);
    store_case_close(it);
    failing_sync = 0;
    open_store(it);
    append(it, 1);
    store_case_until_durable(it, 4);
    struct store_verify verify;
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_in_range(verify.readings, 4, 8);
}

/* Takes the database's lock as another program would. */
static sqlite3 *lock_from_outside(const struct store_case *it)
{
    sqlite3 *other = NULL;
    assert_int_equal(sqlite3_open(it->settings.path, &other), SQLITE_OK);
    assert_int_equal(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    return other;
}

static void unlock(sqlite3 *other)
{
    assert_int_equal(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(other);
}

static void test_locked(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 1);
    store_case_until_durable(it, 1);
    sqlite3 *other = lock_from_outside(it);
    append(it, 20);
    store_case_until_state(it, STORE_LOCKED);
    assert_int_equal(it->durable, 1);
    unlock(other);
    store_case_until_durable(it, 21);
    check_all(it, 21);
}

/* The folder is not there when the store begins, and is made later. */
static void test_not_there_at_first(void **state)
{
    struct store_case *it = *state;
    char folder[80];
    snprintf(folder, sizeof folder, "%s/later", it->folder);
    snprintf(it->settings.path, sizeof it->settings.path, "%s/readings.db", folder);
    open_store(it);
    append(it, 5);
    store_case_until_state(it, STORE_READ_ONLY);
    char command[128];
    snprintf(command, sizeof command, "mkdir %s", folder);
    assert_int_equal(system(command), 0);
    store_case_until_durable(it, 5);
    check_all(it, 5);
}

/* A file that may not grow, as under a quota. */
static void test_file_size_limit(void **state)
{
    struct store_case *it = *state;
    struct rlimit before, tight = { 0 };
    signal(SIGXFSZ, SIG_IGN);
    open_store(it);
    append(it, 1);
    store_case_until_durable(it, 1);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    tight = (struct rlimit) { 4096, before.rlim_max };
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &tight), 0);
    append(it, 10);
    store_case_until_state(it, STORE_FULL);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    store_case_until_durable(it, 11);
    check_all(it, 11);
}

/* How many files lie in the folder whose name has this in it. */
static int files(const struct store_case *it, const char *part)
{
    char command[160];
    int count = 0;
    snprintf(command, sizeof command, "ls %s | grep -c -e '%s'", it->folder, part);
    FILE *pipe = popen(command, "r");
    assert_non_null(pipe);
    assert_int_equal(fscanf(pipe, "%d", &count), 1);
    pclose(pipe);
    return count;
}

/* Overwrites bytes of the database file. */
static void overwrite(const struct store_case *it, long from, long count)
{
    FILE *file = fopen(it->settings.path, "r+b");
    assert_non_null(file);
    assert_int_equal(fseek(file, from, SEEK_SET), 0);
    for (long i = 0; i < count; i++)
        fputc(0x5a, file);
    assert_int_equal(fclose(file), 0);
}

/* A damaged database is set aside whole; a new one names it. */
static void test_damaged(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 40);
    store_case_until_durable(it, 40);
    store_case_close(it);
    overwrite(it, 0, 16);
    it->newest = 0;
    open_store(it);
    append(it, 2);
    store_case_until_durable(it, 42);
    assert_int_equal(store_view(it->store).set_aside, 1);
    store_case_close(it);
    assert_int_equal(files(it, "^readings-damaged-.*db$"), 1);
    check_all(it, 2);
    assert_int_equal(store_case_number(it, "SELECT follows LIKE 'readings-damaged-%' FROM head"),
                     1);
}

/* Damage under the running store: pages that are read anew. */
static void test_damaged_while_it_runs(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 40);
    store_case_until_durable(it, 40);
    store_case_close(it);
    it->durable = 0;
    it->newest = 0;
    overwrite(it, 4096, 4096); /* the table of the head */
    open_store(it);
    append(it, 2);
    store_case_until_durable(it, 2);
    store_case_close(it);
    assert_int_equal(files(it, "^readings-damaged-.*db$"), 1);
    check_all(it, 2);
}

/* Somebody removes the file: what comes goes into a new one, not into nowhere. */
static void test_gone(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 5);
    store_case_until_durable(it, 5);
    assert_int_equal(unlink(it->settings.path), 0);
    it->newest = 0;
    append(it, 3);
    store_case_until_durable(it, 8);
    check_lost(it, 5, 3);
    assert_true(it->changes >= 1);
}

static void refuse(struct store_case *it, const char *says)
{
    struct failure failure = { 0 };
    assert_false(store_case_open(it, &failure));
    assert_int_equal(failure.code, FAILURE_SETTINGS);
    if (strstr(failure.what, says) == NULL)
        fail_msg("%s", failure.what);
    assert_int_equal(files(it, "."), 2); /* the file and the lock: nothing was set aside */
}

static void test_of_another_program(void **state)
{
    struct store_case *it = *state;
    store_case_sql(it, "CREATE TABLE addresses (name TEXT)");
    refuse(it, "another program");
}

static void test_of_a_newer_version(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    store_case_close(it);
    store_case_sql(it, "PRAGMA user_version = 3");
    refuse(it, "version 2");
}

static void test_one_writer_only(void **state)
{
    struct store_case *it = *state;
    struct failure failure = { 0 };
    const struct store_hooks hooks = { it, NULL };
    open_store(it);
    assert_null(store_new(&it->settings, it->mailbox, &hooks, &failure));
    assert_non_null(strstr(failure.what, "another process"));
}

/*
 * What waits goes into one commit, and a commit is flushed: SQLite's
 * documentation of PRAGMA synchronous, FULL in WAL mode.
 */
static void test_group_commit(void **state)
{
    struct store_case *it = *state;
    open_store(it);
    append(it, 1);
    store_case_until_durable(it, 1);
    sqlite3 *other = lock_from_outside(it);
    append(it, 10);
    store_case_until_state(it, STORE_LOCKED);
    append(it, 30);
    uint64_t commits = store_view(it->store).commits;
    int flushes = sync_count;
    unlock(other);
    store_case_until_durable(it, 41);
    assert_int_equal(store_view(it->store).commits, commits + 1);
    assert_int_equal(sync_count, flushes + 1);
}

static int begin(void **state)
{
    failing_write = failing_sync = failing_open = 0;
    return failing_disk_install() ? store_case_begin(state) : -1;
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, store_case_end)
    const struct CMUnitTest tests[] = {
        TEST(test_full),
        TEST(test_read_only),
        TEST(test_disk_errors),
        TEST(test_flush_that_fails),
        TEST(test_flush_that_fails_at_the_end),
        TEST(test_locked),
        TEST(test_not_there_at_first),
        TEST(test_file_size_limit),
        TEST(test_damaged),
        TEST(test_damaged_while_it_runs),
        TEST(test_gone),
        TEST(test_of_another_program),
        TEST(test_of_a_newer_version),
        TEST(test_one_writer_only),
        TEST(test_group_commit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
