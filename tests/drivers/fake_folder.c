/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fake_folder.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <ftw.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char root[64];

const char *folder_begin(void)
{
    snprintf(root, sizeof root, "/tmp/gradus-fake-XXXXXX");
    assert_non_null(mkdtemp(root));
    return root;
}

static void full_path(const char *path, char full[PATH_MAX])
{
    snprintf(full, PATH_MAX, "%s%s", root, path);
    for (char *slash = full + strlen(root) + 1; (slash = strchr(slash, '/')) != NULL; slash++) {
        *slash = '\0';
        mkdir(full, 0700);
        *slash = '/';
    }
}

void fake_file(const char *path, const char *text)
{
    char full[PATH_MAX];
    full_path(path, full);
    FILE *file = fopen(full, "we");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

void fake_link(const char *path, const char *target)
{
    char full[PATH_MAX];
    full_path(path, full);
    assert_int_equal(symlink(target, full), 0);
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *place)
{
    (void)status;
    (void)kind;
    (void)place;
    return remove(path);
}

void folder_end(void)
{
    assert_int_equal(nftw(root, remove_one, 8, FTW_DEPTH | FTW_PHYS), 0);
}
