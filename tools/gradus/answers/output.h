/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file that is there whole or not at all: it is written beside its place
 * and put there once all of it is on the disk; a new one can be read by its
 * owner alone, and one that replaces another keeps its rights. Where the file
 * system can do so it has no name until it is whole, so that a kill leaves nothing.
 * "-" is standard output, and what is no regular file (a terminal, a pipe)
 * is written to as it goes. Links, pipes and devices have to be root's or one's own; a
 * pipe that nobody reads is not waited for.
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
    const char *name; /* the last part of that */
    int folder;       /* that it is in; -1: none */
    char *beside;     /* a name for it in there until it is whole; owned */
    bool named;       /* it has that name already */
};

/* Begins. False with the fault filled in. */
bool output_open(struct output *output, const char *path, struct fault *fault);

/*
 * Ends: with `whole` the file takes its place, without it nothing is left of
 * it. False with the fault filled in when it could not be written.
 */
bool output_close(struct output *output, bool whole, struct fault *fault);

#endif
