/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A libconfig text with all its includes in place, and where each line of it
 * came from. Filled by strict_scan.c; kept with the config so that messages
 * name the file and line a person wrote.
 */
#ifndef GRADUS_DRIVERS_JOINED_H
#define GRADUS_DRIVERS_JOINED_H

#include "problems.h"

#include <stdbool.h>
#include <stddef.h>

/* Where a line of the joined text came from. */
struct origin {
    size_t file; /* index into joined.files */
    int line;
    bool doubtful; /* a number on it is read as another one than is written */
};

/* Start with {0}; free with joined_free(). */
struct joined {
    char *text; /* NUL-terminated; NULL while empty */
    size_t length;
    size_t capacity;
    struct origin *lines; /* one for each line of text */
    size_t line_count;
    size_t line_capacity;
    char **files; /* names as they stand in messages; the first is the outermost */
    size_t file_count;
};

/* Frees what it holds, not the struct itself. */
void joined_free(struct joined *joined);

/*
 * Name of the file, and line in it, that a line of the joined text (from 1)
 * came from. Line 0 stands for the outermost file as a whole: line 0 of it.
 */
const char *joined_file(const struct joined *joined, int line);
int joined_line(const struct joined *joined, int line);

/* Takes up a file by name and says its index. False: no memory. */
bool joined_add_file(struct joined *joined, const char *name, size_t *index);

/*
 * Appends one byte that stands at `file`, `line`. False when memory is short
 * or the text too long: the library counts lines in 16 bits.
 */
bool joined_put(struct joined *joined, char byte, size_t file, int line);

/* Marks the line that was written to last as doubtful. */
void joined_doubt(struct joined *joined);

/* Whether a line of the joined text is doubtful. */
bool joined_doubtful(const struct joined *joined, int line);

/* Whether the next byte begins a line. */
bool joined_at_line_start(const struct joined *joined);

#endif
