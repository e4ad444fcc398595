/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "slurp.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

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
    } else {
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
