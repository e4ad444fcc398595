/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "output.h"

#include "status.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool fail(const struct output *output, struct fault *fault)
{
    fault_set(fault, STATUS_USAGE, "not written", "%s: %s", output->path, strerror(errno));
    return false;
}

/* The rights that a new file would have. */
static mode_t usual_mode(void)
{
    mode_t mask = umask(0);
    umask(mask);
    return 0666 & ~mask;
}

/* Whether something is there that must not be replaced by a file. */
static bool is_special(const char *path)
{
    struct stat there;
    return stat(path, &there) == 0 && !S_ISREG(there.st_mode) && !S_ISDIR(there.st_mode);
}

bool output_open(struct output *output, const char *path, struct fault *fault)
{
    *output = (struct output) { .stream = stdout, .path = path };
    if (strcmp(path, "-") == 0) {
        return true;
    }
    output->stream = is_special(path) ? fopen(path, "w") : NULL;
    if (output->stream != NULL) {
        return true;
    }
    if (is_special(path)) {
        return fail(output, fault);
    }
    int file = asprintf(&output->beside, "%s.XXXXXX", path) < 0 ? -1 : mkstemp(output->beside);
    if (file >= 0 && fchmod(file, usual_mode()) == 0) {
        output->stream = fdopen(file, "w");
    }
    if (output->stream != NULL) {
        return true;
    }
    fail(output, fault);
    if (file >= 0) {
        close(file);
        unlink(output->beside);
    }
    free(output->beside);
    return false;
}

bool output_close(struct output *output, bool whole, struct fault *fault)
{
    bool written = fflush(output->stream) == 0 && !ferror(output->stream);
    if (output->beside == NULL) {
        written = (output->stream == stdout || fclose(output->stream) == 0) && written;
        return written || fail(output, fault);
    }
    written = written && fsync(fileno(output->stream)) == 0;
    written = fclose(output->stream) == 0 && written;
    bool placed = written && whole && rename(output->beside, output->path) == 0;
    if (whole && !placed) {
        fail(output, fault);
    }
    if (!placed) {
        unlink(output->beside);
    }
    free(output->beside);
    return placed || !whole;
}
