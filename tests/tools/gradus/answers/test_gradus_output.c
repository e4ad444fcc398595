/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files that are there whole or not at all. */
#include "tools/gradus/answers/output.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <dirent.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct place {
    char folder[64];
    char path[128];
};

static int make_place(void **state)
{
    struct place *place = calloc(1, sizeof *place);
    strcpy(place->folder, "/tmp/output-XXXXXX");
    *state = place;
    if (place == NULL || mkdtemp(place->folder) == NULL)
        return -1;
    snprintf(place->path, sizeof place->path, "%s/report", place->folder);
    return 0;
}

static size_t entries(const struct place *place)
{
    size_t count = 0;
    DIR *folder = opendir(place->folder);
    while (readdir(folder) != NULL)
        count++;
    closedir(folder);
    return count - 2;
}

static int remove_place(void **state)
{
    struct place *place = *state;
    DIR *folder = opendir(place->folder);
    for (struct dirent *entry; (entry = readdir(folder)) != NULL;)
        unlinkat(dirfd(folder), entry->d_name, 0);
    closedir(folder);
    rmdir(place->folder);
    free(place);
    return 0;
}

static void write_old(const struct place *place)
{
    FILE *file = fopen(place->path, "w");
    assert_non_null(file);
    fputs("old", file);
    fclose(file);
}

static void assert_holds(const char *path, const char *expected)
{
    char text[16] = "";
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    assert_string_equal(text, expected);
}

static void it_is_there_once_it_is_whole(void **state)
{
    struct place *place = *state;
    struct output output;
    struct fault fault = { 0 };
    write_old(place);
    assert_int_equal(chmod(place->path, 0640), 0);
    assert_true(output_open(&output, place->path, &fault));
    fputs("new", output.stream);
    fflush(output.stream);
    assert_holds(place->path, "old");
    assert_true(output_close(&output, true, &fault));
    assert_holds(place->path, "new");
    struct stat found;
    assert_int_equal(stat(place->path, &found), 0);
    assert_int_equal(found.st_mode & 0777, 0640);
    assert_int_equal(entries(place), 1);
}

static void what_is_not_whole_leaves_nothing(void **state)
{
    struct place *place = *state;
    struct output output;
    struct fault fault = { 0 };
    assert_true(output_open(&output, place->path, &fault));
    fputs("half", output.stream);
    assert_true(output_close(&output, false, &fault));
    assert_int_equal(entries(place), 0);
    write_old(place);
    assert_true(output_open(&output, place->path, &fault));
    assert_true(output_close(&output, false, &fault));
    assert_holds(place->path, "old");
    assert_int_equal(entries(place), 1);
}

static void write_new(const char *path)
{
    struct output output;
    struct fault fault = { 0 };
    assert_true(output_open(&output, path, &fault));
    fputs("new", output.stream);
    assert_true(output_close(&output, true, &fault));
}

/* A link stays a link, and what it leads to is replaced. */
static void links_are_followed(void **state)
{
    struct place *place = *state;
    char link[256];
    snprintf(link, sizeof link, "%s/link", place->folder);
    write_old(place);
    assert_int_equal(symlink("report", link), 0);
    write_new(link);
    assert_holds(place->path, "new");
    struct stat found;
    assert_int_equal(lstat(link, &found), 0);
    assert_true(S_ISLNK(found.st_mode));
}

/* What is no file stays what it is: a pipe here. */
static void a_pipe_is_written_into(void **state)
{
    struct place *place = *state;
    char text[8] = "";
    assert_int_equal(mkfifo(place->path, 0600), 0);
    int reader = open(place->path, O_RDONLY | O_NONBLOCK);
    assert_true(reader >= 0);
    write_new(place->path);
    assert_int_equal(read(reader, text, sizeof text), 3);
    close(reader);
    assert_int_equal(entries(place), 1);
}

static void what_cannot_be_written_is_said(void **state)
{
    struct place *place = *state;
    struct output output;
    struct fault fault = { 0 };
    char nowhere[256];
    snprintf(nowhere, sizeof nowhere, "%s/no/where", place->folder);
    assert_false(output_open(&output, nowhere, &fault));
    assert_non_null(strstr(fault.what, "No such file or directory"));
    assert_false(output_open(&output, place->folder, &fault));
    assert_non_null(strstr(fault.what, "Is a directory"));
    assert_int_equal(entries(place), 0);
    assert_true(output_open(&output, "/dev/full", &fault));
    fputs("new", output.stream);
    assert_false(output_close(&output, true, &fault));
    assert_non_null(strstr(fault.what, "No space left"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(it_is_there_once_it_is_whole, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_is_not_whole_leaves_nothing, make_place, remove_place),
        cmocka_unit_test_setup_teardown(links_are_followed, make_place, remove_place),
        cmocka_unit_test_setup_teardown(a_pipe_is_written_into, make_place, remove_place),
        cmocka_unit_test_setup_teardown(what_cannot_be_written_is_said, make_place, remove_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
