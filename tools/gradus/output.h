/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file that is there whole or not at all: it is written beside its place
 * and put there once all of it is on the disk. "-" is standard output; a
 * device or pipe is written into, for it must stay what it is.
 */
#ifndef GRADUS_TOOLS_OUTPUT_H
#define GRADUS_TOOLS_OUTPUT_H

#include "fault.h"

#include <stdbool.h>
#include <stdio.h>

struct output {
    FILE *stream;
    const char *path; /* borrowed */
    char *beside;     /* owned; NULL: it is written where it is */
};

/* Begins. False with the fault filled in. */
bool output_open(struct output *output, const char *path, struct fault *fault);

/*
 * Ends: with `whole` the file takes its place, without it nothing is left of
 * it. False with the fault filled in when it could not be written.
 */
bool output_close(struct output *output, bool whole, struct fault *fault);

#endif
