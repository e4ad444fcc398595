/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "joined.h"

#include <stdlib.h>
#include <string.h>

/* No settings file comes near this; it bounds what includes can multiply to. */
enum { MAX_BYTES = 4 * 1024 * 1024, MAX_LINES = 60000 };

void joined_free(struct joined *joined)
{
    for (size_t i = 0; i < joined->file_count; i++)
        free(joined->files[i]);
    free(joined->files);
    free(joined->lines);
    free(joined->text);
    *joined = (struct joined) { 0 };
}

/* The origin of a joined line, or NULL for line 0 and lines there are not. */
static const struct origin *origin_of(const struct joined *joined, int line)
{
    if (line < 1 || (size_t)line > joined->line_count)
        return NULL;
    return &joined->lines[line - 1];
}

const char *joined_file(const struct joined *joined, int line)
{
    const struct origin *origin = origin_of(joined, line);
    size_t file = origin != NULL ? origin->file : 0;

    return file < joined->file_count ? joined->files[file] : NULL;
}

int joined_line(const struct joined *joined, int line)
{
    const struct origin *origin = origin_of(joined, line);

    return origin != NULL ? origin->line : 0;
}

bool joined_add_file(struct joined *joined, const char *name, size_t *index)
{
    char **files = realloc(joined->files, (joined->file_count + 1) * sizeof *files);

    if (files == NULL)
        return false;
    joined->files = files;
    char *copy = strdup(name);
    if (copy == NULL)
        return false;
    *index = joined->file_count;
    joined->files[joined->file_count++] = copy;
    return true;
}

static bool begin_line(struct joined *joined, size_t file, int line)
{
    if (joined->line_count == MAX_LINES)
        return false;
    if (joined->line_count == joined->line_capacity) {
        size_t capacity = joined->line_capacity == 0 ? 256 : 2 * joined->line_capacity;
        struct origin *lines = realloc(joined->lines, capacity * sizeof *lines);
        if (lines == NULL)
            return false;
        joined->lines = lines;
        joined->line_capacity = capacity;
    }
    joined->lines[joined->line_count++] = (struct origin) { .file = file, .line = line };
    return true;
}

void joined_doubt(struct joined *joined)
{
    if (joined->line_count > 0)
        joined->lines[joined->line_count - 1].doubtful = true;
}

bool joined_doubtful(const struct joined *joined, int line)
{
    const struct origin *origin = origin_of(joined, line);

    return origin != NULL && origin->doubtful;
}

bool joined_at_line_start(const struct joined *joined)
{
    return joined->length == 0 || joined->text[joined->length - 1] == '\n';
}

bool joined_put(struct joined *joined, char byte, size_t file, int line)
{
    if (joined_at_line_start(joined) && !begin_line(joined, file, line))
        return false;
    if (joined->length + 2 > joined->capacity) {
        size_t capacity = joined->capacity == 0 ? 4096 : 2 * joined->capacity;
        char *text = capacity > 2 * (size_t)MAX_BYTES ? NULL : realloc(joined->text, capacity);
        if (text == NULL)
            return false;
        joined->text = text;
        joined->capacity = capacity;
    }
    joined->text[joined->length++] = byte;
    joined->text[joined->length] = '\0';
    return true;
}
