/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/options.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { MOST_WORDS = 8 };

/* Reads a command line of words separated by single spaces; what is said goes nowhere. */
static struct options read_line(char *line)
{
    char *words[MOST_WORDS + 1] = { 0 };
    static char *kept[MOST_WORDS + 1];
    int count = 0;
    FILE *nowhere = fopen("/dev/null", "w");
    for (char *word = strtok(line, " "); word != NULL; word = strtok(NULL, " "))
        words[count++] = word;
    memcpy(kept, words, sizeof kept);
    struct options options = options_read(count, kept, nowhere);
    fclose(nowhere);
    return options;
}

static void wrong_lines_are_refused(void **state)
{
    static const char *const lines[] = {
        "gradusd --unix",
        "gradusd --nonsense",
        "gradusd more",
        "gradusd --check a b",
        "gradusd --ready-fd x",
        "gradusd --ready-fd -1",
        "gradusd --ready-fd 3x",
        "gradusd --tcp 127.0.0.1",
        "gradusd --tcp 127.0.0.1:",
        "gradusd --tcp 127.0.0.1:65536",
        "gradusd --tcp 127.0.0.1:80x",
        "gradusd --tcp :80",
        "gradusd --tcp []:80",
    };
    (void)state;
    FILE *before = stderr;
    stderr = fopen("/dev/null", "w");
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        char line[128];
        snprintf(line, sizeof line, "%s", lines[i]);
        assert_int_equal(read_line(line).task, TASK_USAGE);
    }
    fclose(stderr);
    stderr = before;
}

static void the_defaults(void **state)
{
    char line[] = "gradusd";
    const struct options options = read_line(line);
    (void)state;
    assert_int_equal(options.task, TASK_SERVE);
    assert_string_equal(options.settings, "/etc/gradus/gradus.cfg");
    assert_null(options.unix_path);
    assert_string_equal(options.tcp_address, "");
    assert_int_equal(options.ready_fd, -1);
}

static void serving(void **state)
{
    char line[] = "gradusd --settings=a.cfg --unix /run/s --tcp [::1]:7425 --ready-fd 4";
    const struct options options = read_line(line);
    (void)state;
    assert_int_equal(options.task, TASK_SERVE);
    assert_string_equal(options.settings, "a.cfg");
    assert_string_equal(options.unix_path, "/run/s");
    assert_string_equal(options.tcp_address, "::1");
    assert_int_equal(options.tcp_port, 7425);
    assert_int_equal(options.ready_fd, 4);
}

static void checking_takes_its_file_in_three_ways(void **state)
{
    char lines[3][64] = { "gradusd --check a.cfg", "gradusd --check=a.cfg",
                          "gradusd --settings a.cfg --check" };
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        const struct options options = read_line(lines[i]);
        assert_int_equal(options.task, TASK_CHECK);
        assert_string_equal(options.settings, "a.cfg");
    }
}

static void trying_hands_on_all_that_follows(void **state)
{
    char line[] = "gradusd --try p.cfg tcp:h:1 --whatever";
    const struct options options = read_line(line);
    (void)state;
    assert_int_equal(options.task, TASK_TRY);
    assert_int_equal(options.rest_argc, 3);
    assert_string_equal(options.rest_argv[0], "p.cfg");
    assert_string_equal(options.rest_argv[2], "--whatever");
}

static void scanning_hands_on_all_that_follows(void **state)
{
    char line[] = "gradusd --scan --identify all";
    const struct options options = read_line(line);
    (void)state;
    assert_int_equal(options.task, TASK_SCAN);
    assert_int_equal(options.rest_argc, 2);
    assert_string_equal(options.rest_argv[1], "all");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wrong_lines_are_refused),
        cmocka_unit_test(the_defaults),
        cmocka_unit_test(serving),
        cmocka_unit_test(checking_takes_its_file_in_three_ways),
        cmocka_unit_test(trying_hands_on_all_that_follows),
        cmocka_unit_test(scanning_hands_on_all_that_follows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
