/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Why something that was asked of the bench cannot be done, as one sentence. */
#ifndef STANDIN_PROBLEM_H
#define STANDIN_PROBLEM_H

#include <stdbool.h>

struct problem {
    char text[256];
};

/* Writes the sentence (cut when too long) and returns false, for `return problem_tell(...)`. */
bool problem_tell(struct problem *problem, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
