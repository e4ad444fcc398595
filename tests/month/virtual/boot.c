/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The name of the boot, which the kernel has in a file, is the page's once that tells of one. */
#include "clock.h"

#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

/* A file with the name of a boot in it, open at its beginning. */
static int boot_name(int64_t boot)
{
    char name[40];
    int length = snprintf(name, sizeof name, "%08d-month\n", (int)boot);
    int file = memfd_create("boot_id", MFD_CLOEXEC);
    if (file >= 0 && pwrite(file, name, (size_t)length, 0) != length) {
        close(file);
        return -1;
    }
    return file;
}

/* In the place of the C library's, for everything in the process. */
int open(const char *path, int flags, ...)
{
    int64_t boot = virtual_page()->boot;
    mode_t mode = 0;
    if ((flags & O_CREAT) != 0 || (flags & O_TMPFILE) == O_TMPFILE) {
        va_list arguments;
        va_start(arguments, flags);
        mode = va_arg(arguments, mode_t);
        va_end(arguments);
    }
    if (boot != 0 && strcmp(path, "/proc/sys/kernel/random/boot_id") == 0)
        return boot_name(boot);
    return openat(AT_FDCWD, path, flags, mode);
}
