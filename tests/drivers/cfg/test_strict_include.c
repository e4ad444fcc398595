/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Includes of strictly read files, each case in a folder of its own. */
#include "drivers/cfg/strict.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

enum { DEPTH = 11 };

struct folder {
    char path[64];
};

static int folder_make(void **state)
{
    struct folder *folder = calloc(1, sizeof *folder);

    strcpy(folder->path, "/tmp/strict-XXXXXX");
    *state = folder;
    return mkdtemp(folder->path) != NULL ? 0 : -1;
}

static int folder_remove(void **state)
{
    static const char *const names[] = { "top.cfg", "a.inc", "sub/b.inc", "sub/c.inc", "pipe" };
    struct folder *folder = *state;
    char path[128];

    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        snprintf(path, sizeof path, "%s/%s", folder->path, names[i]);
        unlink(path);
    }
    for (int i = 1; i <= DEPTH; i++) {
        snprintf(path, sizeof path, "%s/d%d", folder->path, i);
        unlink(path);
    }
    snprintf(path, sizeof path, "%s/sub", folder->path);
    rmdir(path);
    rmdir(folder->path);
    free(folder);
    return 0;
}

static void write_file(const struct folder *folder, const char *name, const char *text)
{
    char path[128];

    snprintf(path, sizeof path, "%s/sub", folder->path);
    mkdir(path, 0700);
    snprintf(path, sizeof path, "%s/%s", folder->path, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

static bool read_top(const struct folder *folder, config_t *config, struct problems *problems)
{
    char path[128];

    snprintf(path, sizeof path, "%s/top.cfg", folder->path);
    config_init(config);
    return strict_read_file(config, path, problems);
}

/* Relative to the including file, with lines that are each file's own. */
static void test_include(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    char expected[128];
    config_t config;

    write_file(folder, "top.cfg", "a = 1;\n@include \"sub/b.inc\"\nd = 4;\n");
    write_file(folder, "sub/b.inc", "\nb = 2;\n  @include \"c.inc\" # and a comment");
    write_file(folder, "sub/c.inc", "\n\nc = 3; // no line end");
    assert_true(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 0);
    assert_int_equal(config_setting_length(config_root_setting(&config)), 4);
    assert_int_equal(strict_line(config_lookup(&config, "b")), 2);
    assert_int_equal(strict_line(config_lookup(&config, "c")), 3);
    assert_int_equal(strict_line(config_lookup(&config, "d")), 3);
    problems_at(&problems, config_lookup(&config, "c"), "here");
    snprintf(expected, sizeof expected, "%s/sub/c.inc:3: here", folder->path);
    assert_string_equal(problems.lines[0], expected);
    assert_non_null(strstr(strict_text(&config), "c = 3;"));
    problems_free(&problems);
    config_destroy(&config);
}

/* The same file twice is no cycle; itself from within itself is, at any depth. */
static void test_include_cycle(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    config_t config;

    write_file(folder, "top.cfg", "x = {\n@include \"a.inc\"\n};\ny = {\n@include \"a.inc\"\n};\n");
    write_file(folder, "a.inc", "a = 1;");
    assert_true(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 0);
    config_destroy(&config);

    write_file(folder, "a.inc", "@include \"sub/../sub/b.inc\"\n");
    write_file(folder, "sub/b.inc", "@include \"../top.cfg\"\n");
    assert_false(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 2);
    assert_non_null(strstr(problems.lines[0], "/sub/b.inc:1: "));
    assert_non_null(strstr(problems.lines[0], "is included from within itself"));
    problems_free(&problems);
    config_destroy(&config);
}

/* Nothing but regular files is opened for reading, and nothing is waited for. */
static void test_include_what_is_no_file(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    char path[128];
    config_t config;

    snprintf(path, sizeof path, "%s/pipe", folder->path);
    assert_int_equal(mkfifo(path, 0600), 0);
    write_file(folder, "top.cfg", "@include \"pipe\"\n@include \"sub\"\n@include \"none\"\n");
    assert_false(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 3);
    assert_non_null(strstr(problems.lines[0], "a device or pipe, expected a regular file"));
    assert_non_null(strstr(problems.lines[1], "a folder, expected a regular file"));
    assert_non_null(strstr(problems.lines[2], "No such file"));
    problems_free(&problems);
    config_destroy(&config);
}

/* What stands in a file that is no settings file is not shown, by whatever link it is reached. */
static void test_include_of_a_foreign_file(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    char target[128];
    char path[128];
    config_t config;

    write_file(folder, "secret", "root:word:1\n");
    snprintf(target, sizeof target, "%s/secret", folder->path);
    snprintf(path, sizeof path, "%s/link.cfg", folder->path);
    assert_int_equal(symlink(target, path), 0);
    write_file(folder, "top.cfg", "@include \"secret\"\n@include \"link.cfg\"\n");
    assert_false(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 2);
    for (size_t i = 0; i < problems.count; i++) {
        assert_non_null(strstr(problems.lines[i], "ends in .cfg or .inc"));
        assert_null(strstr(problems.lines[i], "word"));
    }
    problems_free(&problems);
    config_destroy(&config);
}

/* Files of comments that include each other a hundred times a level: read no further than a bound. */
static void test_includes_that_multiply(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    char name[24];
    char text[4096];
    config_t config;

    for (int level = 0; level < DEPTH; level++) {
        size_t used = 0;
        for (int i = 0; i < 100; i++)
            used += (size_t)snprintf(text + used, sizeof text - used, "@include \"many%d.inc\"\n",
                                     level + 1);
        snprintf(name, sizeof name, level == 0 ? "top.cfg" : "many%d.inc", level);
        write_file(folder, name, text);
    }
    write_file(folder, "many10.inc", "\n");
    assert_false(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 1);
    assert_non_null(strstr(problems.lines[0], "too much is included"));
    problems_free(&problems);
    config_destroy(&config);
}

/* Where it matters, what others could write is not read. */
static void test_files_that_others_can_write(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { .guarded = true };
    char path[128];
    config_t config;

    write_file(folder, "top.cfg", "@include \"own.inc\"\n");
    write_file(folder, "own.inc", "a = 1;\n");
    snprintf(path, sizeof path, "%s/own.inc", folder->path);
    assert_int_equal(chmod(path, 0644), 0);
    assert_true(read_top(folder, &config, &problems));
    config_destroy(&config);
    assert_int_equal(chmod(path, 0646), 0);
    assert_false(read_top(folder, &config, &problems));
    assert_non_null(strstr(problems.lines[0], "others can write"));
    config_destroy(&config);
    problems_free(&problems);
    problems.guarded = true;
    assert_int_equal(chmod(path, 0644), 0);
    assert_int_equal(chmod(folder->path, 0777), 0);
    assert_false(read_top(folder, &config, &problems));
    assert_non_null(strstr(problems.lines[0], "by its folder"));
    assert_int_equal(chmod(folder->path, 0700), 0);
    problems_free(&problems);
    config_destroy(&config);
}

/* Ten includes in one another are taken, eleven are not. */
static void test_include_depth(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    char name[24];
    char text[64];
    config_t config;

    write_file(folder, "top.cfg", "@include \"d1.inc\"\n");
    for (int i = 1; i < DEPTH; i++) {
        snprintf(name, sizeof name, "d%d.inc", i);
        snprintf(text, sizeof text, "@include \"d%d.inc\"\n", i + 1);
        write_file(folder, name, text);
    }
    write_file(folder, "d10.inc", "a = 1;\n");
    assert_true(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 0);
    config_destroy(&config);

    write_file(folder, "d10.inc", "@include \"d11.inc\"\n");
    assert_false(read_top(folder, &config, &problems));
    assert_int_equal(problems.total, 1);
    assert_non_null(strstr(problems.lines[0], "/d10.inc:1: includes are nested more than 10 deep"));
    problems_free(&problems);
    config_destroy(&config);
}

/* Includes can multiply; the joined text cannot grow without end. */
static void test_include_bomb(void **state)
{
    const struct folder *folder = *state;
    struct problems problems = { 0 };
    config_t config;
    static const char line[] = "@include \"a.inc\"\n";
    char text[300 * (sizeof line - 1) + 1];

    for (size_t i = 0; i < sizeof text - 1; i++)
        text[i] = line[i % (sizeof line - 1)];
    text[sizeof text - 1] = '\0';
    write_file(folder, "top.cfg", text);
    memset(text, '\n', sizeof text - 1); /* thousands of lines, 300 times */
    write_file(folder, "a.inc", text);
    assert_false(read_top(folder, &config, &problems));
    assert_non_null(strstr(problems.lines[0], "too much text"));
    assert_int_equal(problems.total, 1);
    problems_free(&problems);
    config_destroy(&config);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_include, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_include_cycle, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_include_what_is_no_file, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_include_depth, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_include_of_a_foreign_file, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_includes_that_multiply, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_files_that_others_can_write, folder_make,
                                        folder_remove),
        cmocka_unit_test_setup_teardown(test_include_bomb, folder_make, folder_remove),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
