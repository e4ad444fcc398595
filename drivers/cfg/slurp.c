/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "slurp.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Whether somebody but root and this process could write it. */
static bool is_others(const struct stat *status)
{
    bool owned = status->st_uid == 0 || status->st_uid == geteuid();
    bool group = (status->st_mode & S_IWGRP) != 0 && status->st_gid != 0;

    return !owned || group || (status->st_mode & S_IWOTH) != 0;
}

/* Notes who could have written a file, by itself or by putting another in its place. */
static bool is_guarded(const char *path, const struct stat *status, const char *file, int line,
                       struct problems *problems)
{
    char folder[PATH_MAX];
    const char *slash = strrchr(path, '/');
    struct stat around = { 0 };
    int length = slash == NULL ? 0 : (int)(slash + 1 - path);

    snprintf(folder, sizeof folder, "%.*s", length, path);
    if (stat(length > 0 ? folder : ".", &around) != 0)
        return true;
    if ((around.st_mode & S_ISVTX) != 0)
        around.st_mode &= (mode_t) ~(S_IWGRP | S_IWOTH);
    if (!is_others(status) && !is_others(&around))
        return true;
    problems_add(
        problems, file, line,
        "others can write \"%s\"%s (user %u), expected a file and folder of root or of the "
        "service that nobody else can write",
        path, is_others(status) ? "" : ", by its folder",
        is_others(status) ? status->st_uid : around.st_uid);
    return false;
}

/* Opens for reading what is a regular file; anything else could block or never end. */
static int open_regular(const char *path, size_t *size, const char *file, int line,
                        struct problems *problems)
{
    struct stat status;
    int descriptor = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);

    if (descriptor < 0 || fstat(descriptor, &status) != 0) {
        problems_add(problems, file, line, "cannot read \"%s\": %s, expected a readable file", path,
                     strerror(errno));
    } else if (!S_ISREG(status.st_mode)) {
        problems_add(problems, file, line, "\"%s\" is %s, expected a regular file", path,
                     S_ISDIR(status.st_mode) ? "a folder" : "a device or pipe");
    } else if (status.st_size > SLURP_MAX) {
        problems_add(problems, file, line, "\"%s\" is longer than %d bytes", path, SLURP_MAX);
    } else if (!problems->guarded || is_guarded(path, &status, file, line, problems)) {
        *size = (size_t)status.st_size;
        return descriptor;
    }
    if (descriptor >= 0)
        close(descriptor);
    return -1;
}

/* Reads until the end of the file or `size` bytes; a file may shrink meanwhile. */
static bool read_all(int descriptor, char *text, size_t size, size_t *length)
{
    size_t done = 0;

    while (done < size) {
        ssize_t count = read(descriptor, text + done, size - done);
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0)
            return false;
        if (count == 0)
            break;
        done += (size_t)count;
    }
    text[done] = '\0';
    *length = done;
    return true;
}

char *slurp(const char *path, size_t *length, const char *file, int line, struct problems *problems)
{
    size_t size = 0;
    int descriptor = open_regular(path, &size, file, line, problems);

    if (descriptor < 0)
        return NULL;
    char *text = malloc(size + 1);
    if (text == NULL || !read_all(descriptor, text, size, length)) {
        problems_add(problems, file, line, "cannot read \"%s\": %s", path, strerror(errno));
        free(text);
        text = NULL;
    }
    close(descriptor);
    return text;
}

bool slurp_same_file(const char *one, const char *other)
{
    char *a = realpath(one, NULL);
    char *b = realpath(other, NULL);
    bool same = a != NULL && b != NULL && strcmp(a, b) == 0;

    free(a);
    free(b);
    return same;
}

bool slurp_is_settings(const char *path, const char *file, int line, struct problems *problems)
{
    char *real = realpath(path, NULL);
    const char *dot = strrchr(real != NULL ? real : path, '.');
    bool settings = dot != NULL && (strcmp(dot, ".cfg") == 0 || strcmp(dot, ".inc") == 0);

    free(real);
    if (!settings)
        problems_add(problems, file, line,
                     "\"%s\" is not included, expected a file whose own name ends in .cfg or .inc",
                     path);
    return settings;
}
