/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file that is there whole or not at all: it is written beside its place
 * and put there once all of it is on the disk. "-" is standard output, and
 * what is no regular file (a terminal, a pipe) is written to as it goes.
 */
#ifndef GRADUS_TOOLS_OUTPUT_H
#define GRADUS_TOOLS_OUTPUT_H

#include "tools/gradus/wire/fault.h"

#include <stdbool.h>
#include <stdio.h>

struct output {
    FILE *stream;
    const char *path; /* as it was given; borrowed */
    char *place;      /* where it belongs, symbolic links followed; owned; NULL: it has no place */
    char *beside;     /* where it is written; owned */
};

/* Begins. False with the fault filled in. */
bool output_open(struct output *output, const char *path, struct fault *fault);

/*
 * Ends: with `whole` the file takes its place, without it nothing is left of
 * it. False with the fault filled in when it could not be written.
 */
bool output_close(struct output *output, bool whole, struct fault *fault);

#endif
