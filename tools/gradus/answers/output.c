/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "output.h"

#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

/* A new file is its owner's alone, whatever the umask: what is in it is the customer's. */
enum { PRIVATE = 0600 };

static bool fail(const struct output *output, struct fault *fault)
{
    fault_set(fault, STATUS_USAGE, "not written", "%s: %s", output->path,
              strerror(errno != 0 ? errno : EIO));
    return false;
}

static bool is_trusted(uid_t owner)
{
    return owner == 0 || owner == geteuid();
}

/* A link or a pipe that somebody else has put there is not followed, and not written to. */
static bool is_own(const struct output *output, const struct stat *found, struct fault *fault)
{
    if (is_trusted(found->st_uid))
        return true;
    fault_set(fault, STATUS_USAGE, "not written", "%s: user %u has put %s there", output->path,
              (unsigned)found->st_uid, S_ISLNK(found->st_mode) ? "a link" : "a pipe or device");
    return false;
}

/* Opens what is no regular file; a pipe that nobody reads is not waited for. */
static bool open_other(struct output *output, struct fault *fault)
{
    struct stat found;
    int file = open(output->path, O_WRONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (file < 0)
        return fail(output, fault);
    if (fstat(file, &found) != 0 || !is_own(output, &found, fault)) {
        close(file);
        return false;
    }
    fcntl(file, F_SETFL, fcntl(file, F_GETFL) & ~O_NONBLOCK);
    output->stream = fdopen(file, "w");
    return output->stream != NULL || fail(output, fault);
}

/* A name beside that of the file, which nobody can know before. */
static bool name_beside(struct output *output)
{
    unsigned long number;
    return getrandom(&number, sizeof number, 0) == sizeof number &&
           asprintf(&output->beside, ".%.200s.%016lx", output->name, number) > 0;
}

/*
 * The file without a name, where the file system can do so: then a kill
 * leaves nothing. Else it has its name beside the place from the first on.
 */
static int open_unnamed(struct output *output, mode_t mode)
{
    int file = openat(output->folder, ".", O_TMPFILE | O_WRONLY | O_CLOEXEC, mode);
    output->named = file < 0;
    if (file < 0)
        file = openat(output->folder, output->beside,
                      O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, mode);
    return file;
}

static bool open_beside(struct output *output, mode_t mode, struct fault *fault)
{
    char *slash = strrchr(output->place, '/');
    output->name = slash != NULL ? slash + 1 : output->place;
    if (slash != NULL && slash != output->place)
        *slash = '\0';
    output->folder = open(slash == NULL            ? "."
                          : slash == output->place ? "/"
                                                   : output->place,
                          O_PATH | O_DIRECTORY | O_CLOEXEC);
    int file = output->folder >= 0 && name_beside(output) ? open_unnamed(output, mode) : -1;
    if (file >= 0 && fchmod(file, mode) == 0)
        output->stream = fdopen(file, "w");
    if (output->stream != NULL)
        return true;
    fail(output, fault);
    if (file >= 0) {
        close(file);
        if (output->named)
            unlinkat(output->folder, output->beside, 0);
    }
    return false;
}

static void let_go(struct output *output)
{
    if (output->folder >= 0)
        close(output->folder);
    free(output->beside);
    free(output->place);
    *output = (struct output) { .path = output->path, .folder = -1 };
}

bool output_open(struct output *output, const char *path, struct fault *fault)
{
    struct stat link;
    struct stat found;
    *output = (struct output) { .path = path, .folder = -1 };
    if (strcmp(path, "-") == 0) {
        output->stream = stdout;
        return true;
    }
    if (lstat(path, &link) == 0 && S_ISLNK(link.st_mode) && !is_own(output, &link, fault))
        return false;
    bool there = stat(path, &found) == 0;
    if (there && !S_ISREG(found.st_mode))
        return open_other(output, fault);
    output->place = there ? realpath(path, NULL) : strdup(path);
    if (output->place == NULL)
        return fail(output, fault);
    if (open_beside(output, there ? found.st_mode & 0777 : PRIVATE, fault))
        return true;
    let_go(output);
    return false;
}

/* Gives the file the name beside its place, if it has none yet. */
static bool give_name(struct output *output, int file)
{
    char self[64];
    snprintf(self, sizeof self, "/proc/self/fd/%d", file);
    return output->named ||
           linkat(AT_FDCWD, self, output->folder, output->beside, AT_SYMLINK_FOLLOW) == 0;
}

/* Puts the file in its place, or removes what there is of it. */
static bool place(struct output *output, bool named, bool whole, struct fault *fault)
{
    bool placed = whole && named &&
                  renameat(output->folder, output->beside, output->folder, output->name) == 0;
    if (whole && !placed)
        fail(output, fault);
    if (!placed && named)
        unlinkat(output->folder, output->beside, 0);
    let_go(output);
    return placed;
}

bool output_close(struct output *output, bool whole, struct fault *fault)
{
    errno = 0;
    bool written = fflush(output->stream) == 0 && !ferror(output->stream);
    bool named = output->named;
    if (output->place != NULL) {
        written = written && fsync(fileno(output->stream)) == 0;
        named = (whole && written && give_name(output, fileno(output->stream))) || output->named;
    }
    if (output->stream != stdout)
        written = fclose(output->stream) == 0 && written;
    if (whole && !written)
        fail(output, fault);
    return output->place == NULL ? written
                                 : place(output, named, whole && written, fault) || !whole;
}
