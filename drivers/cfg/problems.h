/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is wrong with a file: all of it, so that it can be mended in one go. */
#ifndef GRADUS_DRIVERS_PROBLEMS_H
#define GRADUS_DRIVERS_PROBLEMS_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

enum { PROBLEMS_MAX = 500 };

/*
 * A growing list of messages. Start with {0}; free with problems_free().
 * Whether there was a mistake is told by `total`: it also counts those that
 * were not kept because there were too many or memory was short.
 */
struct problems {
    char **lines;
    size_t count; /* of lines, at most PROBLEMS_MAX */
    size_t total; /* mistakes found */
    bool guarded; /* a file that others could write is one; see slurp.h */
};

/* Frees the lines and empties the list. */
void problems_free(struct problems *problems);

/* Appends "file:line: text". `file` NULL leaves out the place, line 0 the line. */
void problems_add(struct problems *problems, const char *file, int line, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* As problems_add(), for a caller that has the arguments already. */
void problems_add_all(struct problems *problems, const char *file, int line, const char *format,
                      va_list arguments) __attribute__((format(printf, 4, 0)));

#endif
