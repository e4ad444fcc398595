/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "output.h"

#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool fail(const struct output *output, struct fault *fault)
{
    fault_set(fault, STATUS_USAGE, "not written", "%s: %s", output->path,
              strerror(errno != 0 ? errno : EIO));
    return false;
}

/* The rights that a new file would have. */
static mode_t usual_mode(void)
{
    mode_t mask = umask(0);
    umask(mask);
    return 0666 & ~mask;
}

/* Opens the file beside its place, with the rights of the one that it replaces. */
static FILE *open_beside(struct output *output, mode_t mode)
{
    FILE *stream = NULL;
    int file = asprintf(&output->beside, "%s.XXXXXX", output->place) < 0
                   ? (output->beside = NULL, -1)
                   : mkstemp(output->beside);
    if (file >= 0 && fchmod(file, mode) == 0)
        stream = fdopen(file, "w");
    if (stream == NULL && file >= 0) {
        close(file);
        unlink(output->beside);
    }
    return stream;
}

bool output_open(struct output *output, const char *path, struct fault *fault)
{
    struct stat found;
    *output = (struct output) { .path = path };
    if (strcmp(path, "-") == 0) {
        output->stream = stdout;
        return true;
    }
    bool there = stat(path, &found) == 0;
    if (there && !S_ISREG(found.st_mode)) {
        output->stream = fopen(path, "w");
        return output->stream != NULL || fail(output, fault);
    }
    output->place = there ? realpath(path, NULL) : strdup(path);
    if (output->place != NULL)
        output->stream = open_beside(output, there ? found.st_mode & 0777 : usual_mode());
    if (output->stream != NULL)
        return true;
    fail(output, fault);
    free(output->place);
    free(output->beside);
    return false;
}

/* Puts the file in its place, or removes what there is of it. */
static bool place(struct output *output, bool whole, struct fault *fault)
{
    bool placed = whole && rename(output->beside, output->place) == 0;
    if (whole && !placed)
        fail(output, fault);
    if (!placed)
        unlink(output->beside);
    free(output->beside);
    free(output->place);
    return placed;
}

bool output_close(struct output *output, bool whole, struct fault *fault)
{
    errno = 0;
    bool written = fflush(output->stream) == 0 && !ferror(output->stream);
    if (output->place != NULL)
        written = written && fsync(fileno(output->stream)) == 0;
    if (output->stream != stdout)
        written = fclose(output->stream) == 0 && written;
    if (whole && !written)
        fail(output, fault);
    return output->place == NULL ? written : place(output, whole && written, fault) || !whole;
}
