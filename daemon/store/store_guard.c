/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_guard.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static bool is_it(const struct store_guard *guard, const struct stat *status)
{
    return guard->file >= 0 && guard->device == status->st_dev && guard->inode == status->st_ino;
}

static enum store_state foreign(const char *path, const char *expected, const char *what,
                                struct failure *failure)
{
    failure_set(failure, FAILURE_SETTINGS, path, expected, "%s", what);
    return STORE_FOREIGN;
}

static enum store_state cannot(const char *path, int error, struct failure *failure)
{
    if (error == ELOOP)
        return foreign(path, "the path of the file itself", "it is a link", failure);
    failure_set(failure, FAILURE_SYSTEM, path, NULL, "the database cannot be opened: %s",
                strerror(error));
    return error == ENOSPC || error == EDQUOT ? STORE_FULL : STORE_READ_ONLY;
}

/* Locks what was opened, if it is still what is at the path. */
static enum store_state lock(struct store_guard *guard, const char *path, struct failure *failure)
{
    struct stat opened;
    struct stat there;
    if (fstat(guard->file, &opened) != 0 || !S_ISREG(opened.st_mode))
        return foreign(path, "a regular file", "it is none", failure);
    if (flock(guard->file, LOCK_EX | LOCK_NB) != 0)
        return foreign(path, NULL, "another process writes this store", failure);
    guard->device = opened.st_dev;
    guard->inode = opened.st_ino;
    if (lstat(path, &there) == 0 && is_it(guard, &there))
        return STORE_WELL;
    failure_set(failure, FAILURE_SYSTEM, path, NULL, "the database was removed or replaced");
    return STORE_GONE;
}

enum store_state store_guard_take(struct store_guard *guard, const char *path,
                                  struct failure *failure)
{
    struct stat status;
    if (lstat(path, &status) == 0 && is_it(guard, &status))
        return STORE_WELL;
    store_guard_end(guard);
    guard->file =
        open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC, 0600);
    if (guard->file < 0)
        return cannot(path, errno, failure);
    enum store_state state = lock(guard, path, failure);
    if (state != STORE_WELL)
        store_guard_end(guard);
    return state;
}

void store_guard_end(struct store_guard *guard)
{
    if (guard->file >= 0)
        close(guard->file);
    guard->file = -1;
}
