/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is said about a link that fails, how often, and that nobody can forge a line. */
#include "daemon/basics/log.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static struct moment at(int64_t seconds)
{
    return (struct moment) { seconds * SECOND_NS };
}

/* Standard error of a test goes into a file. */
struct caught {
    FILE *file;
    int before;
};

static int catch_log(void **state)
{
    struct caught *caught = malloc(sizeof *caught);
    assert_non_null(caught);
    caught->file = tmpfile();
    caught->before = dup(STDERR_FILENO);
    dup2(fileno(caught->file), STDERR_FILENO);
    unsetenv("JOURNAL_STREAM");
    *state = caught;
    return 0;
}

static int release_log(void **state)
{
    struct caught *caught = *state;
    dup2(caught->before, STDERR_FILENO);
    close(caught->before);
    fclose(caught->file);
    free(caught);
    return 0;
}

/* All that was logged since the last time. */
static const char *logged(struct caught *caught, char *text, size_t size)
{
    fflush(stderr);
    rewind(caught->file);
    size_t count = fread(text, 1, size - 1, caught->file);
    text[count] = '\0';
    assert_int_equal(ftruncate(fileno(caught->file), 0), 0);
    rewind(caught->file);
    return text;
}

static void nothing_sent_by_others_makes_a_line(void **state)
{
    char text[4096], longest[3000];
    log_line(LOG_PRIORITY_ERROR, "reply \"%s\"", "a\r\n<0>forged\x1b[2J\x7f");
    assert_string_equal(logged(*state, text, sizeof text), "reply \"a?"
                                                           "?<0>forged?[2J?\"\n");
    /* Unicode Character Database, PropList.txt: Bidi_Control; C1 controls; beside them µ and ≤. */
    log_line(LOG_PRIORITY_ERROR, "%s",
             "a\u202eb\u2066c\u200fd\u061ce\xc2\x9b"
             "f \u00b5 \u2264");
    assert_string_equal(logged(*state, text, sizeof text), "a???b???c???d??e??f \u00b5 \u2264\n");
    memset(longest, 'x', sizeof longest);
    longest[sizeof longest - 1] = '\0';
    log_line(LOG_PRIORITY_ERROR, "%s", longest);
    logged(*state, text, sizeof text);
    assert_true(strlen(text) < sizeof longest);
    assert_ptr_equal(strchr(text, '\n'), text + strlen(text) - 1);
}

/* sd-daemon(3), systemd.exec(5): the prefix only where JOURNAL_STREAM names the very file. */
static void the_priority_is_said_to_the_journal_only(void **state)
{
    char text[256], stream[64];
    struct stat status;
    assert_false(log_is_journal(NULL, STDERR_FILENO));
    assert_false(log_is_journal("", STDERR_FILENO));
    assert_false(log_is_journal("8:1", STDERR_FILENO));
    assert_false(log_is_journal("8:1", -1));
    setenv("JOURNAL_STREAM", "8:1", 1);
    log_line(LOG_PRIORITY_NOTICE, "plain");
    assert_string_equal(logged(*state, text, sizeof text), "plain\n");
    assert_int_equal(fstat(STDERR_FILENO, &status), 0);
    snprintf(stream, sizeof stream, "%ju:%ju", (uintmax_t)status.st_dev, (uintmax_t)status.st_ino);
    assert_true(log_is_journal(stream, STDERR_FILENO));
    setenv("JOURNAL_STREAM", stream, 1);
    log_line(LOG_PRIORITY_WARNING, "marked");
    assert_string_equal(logged(*state, text, sizeof text), "<4>marked\n");
}

static void trouble_is_said_once_and_then_thinned(void **state)
{
    char text[4096];
    struct log_trouble trouble = { 0 };
    struct failure failure = { 0 };
    size_t lines = 0;
    failure_set(&failure, FAILURE_DISCONNECTED, NULL, NULL, "unplugged");
    log_trouble_failed(&trouble, "meter_a", &failure, at(1));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: link down: unplugged\n");
    for (int64_t now = 2; now < 60; now++)
        log_trouble_failed(&trouble, "meter_a", &failure, at(now));
    assert_string_equal(logged(*state, text, sizeof text), "");
    log_trouble_failed(&trouble, "meter_a", &failure, at(61));
    assert_string_equal(logged(*state, text, sizeof text),
                        "meter_a: failed 60 times in 60 s, last: link down: unplugged\n");
    for (int64_t now = 62; now < 86400; now++)
        log_trouble_failed(&trouble, "meter_a", &failure, at(now));
    for (const char *at = logged(*state, text, sizeof text); *at != '\0'; at++)
        lines += *at == '\n' ? 1 : 0;
    assert_in_range(lines, 24, 29); /* after the first hour one an hour */
}

static void recovery_is_said_once(void **state)
{
    char text[256];
    struct log_trouble trouble = { 0 };
    struct failure failure = { 0 };
    log_trouble_over(&trouble, "meter_a", at(1));
    assert_string_equal(logged(*state, text, sizeof text), "");
    failure_set(&failure, FAILURE_TIMEOUT, NULL, NULL, "silence");
    log_trouble_failed(&trouble, "meter_a", &failure, at(1));
    log_trouble_failed(&trouble, "meter_a", &failure, at(2));
    logged(*state, text, sizeof text);
    log_trouble_over(&trouble, "meter_a", at(4));
    assert_string_equal(logged(*state, text, sizeof text),
                        "meter_a: works again after 3.0 s and 2 failures\n");
    log_trouble_over(&trouble, "meter_a", at(5));
    assert_string_equal(logged(*state, text, sizeof text), "");
    log_trouble_failed(&trouble, "meter_a", &failure, at(6));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: no reply in time: silence\n");
}

/* As of an instrument that closes its connection whenever it is idle. */
static void drops_mended_at_once_are_thinned(void **state)
{
    char text[256];
    struct log_trouble trouble = { 0 };
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_DISCONNECTED, NULL, NULL, "closed");
    log_trouble_failed(&trouble, "meter_a", &failure, at(10));
    log_trouble_over(&trouble, "meter_a", at(11));
    assert_string_equal(logged(*state, text, sizeof text),
                        "meter_a: link down: closed\n"
                        "meter_a: works again after 1.0 s and 1 failures\n");
    for (int64_t now = 20; now < 70; now += 10) {
        log_trouble_failed(&trouble, "meter_a", &failure, at(now));
        log_trouble_over(&trouble, "meter_a", at(now + 1));
    }
    assert_string_equal(logged(*state, text, sizeof text), "");
    /* The first try does not mend this one: it is told at once. */
    log_trouble_failed(&trouble, "meter_a", &failure, at(70));
    log_trouble_failed(&trouble, "meter_a", &failure, at(71));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: link down: closed\n");
    log_trouble_over(&trouble, "meter_a", at(75));
    assert_string_equal(logged(*state, text, sizeof text),
                        "meter_a: works again after 5.0 s and 2 failures, short drops before: 5\n");
    log_trouble_failed(&trouble, "meter_a", &failure, at(80));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: link down: closed\n");
}

/* What is no drop is told however soon it comes, and a drop that comes much later is, too. */
static void what_is_no_drop_is_told(void **state)
{
    char text[256];
    struct log_trouble trouble = { 0 };
    struct failure failure = { 0 };
    struct failure silence = { 0 };
    failure_set(&failure, FAILURE_DISCONNECTED, NULL, NULL, "closed");
    failure_set(&silence, FAILURE_TIMEOUT, NULL, NULL, "silence");
    log_trouble_failed(&trouble, "meter_a", &failure, at(1));
    log_trouble_over(&trouble, "meter_a", at(2));
    logged(*state, text, sizeof text);
    log_trouble_failed(&trouble, "meter_a", &silence, at(3));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: no reply in time: silence\n");
    log_trouble_over(&trouble, "meter_a", at(4));
    logged(*state, text, sizeof text);
    log_trouble_failed(&trouble, "meter_a", &failure, at(125));
    assert_string_equal(logged(*state, text, sizeof text), "meter_a: link down: closed\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(nothing_sent_by_others_makes_a_line, catch_log,
                                        release_log),
        cmocka_unit_test_setup_teardown(the_priority_is_said_to_the_journal_only, catch_log,
                                        release_log),
        cmocka_unit_test_setup_teardown(trouble_is_said_once_and_then_thinned, catch_log,
                                        release_log),
        cmocka_unit_test_setup_teardown(recovery_is_said_once, catch_log, release_log),
        cmocka_unit_test_setup_teardown(drops_mended_at_once_are_thinned, catch_log, release_log),
        cmocka_unit_test_setup_teardown(what_is_no_drop_is_told, catch_log, release_log),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
