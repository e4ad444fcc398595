/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "problems.h"

#include "core/basics/utf8.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MESSAGE = 1024 };

void problems_free(struct problems *problems)
{
    for (size_t i = 0; i < problems->count; i++)
        free(problems->lines[i]);
    free(problems->lines);
    *problems = (struct problems) { 0 };
}

static void append(struct problems *problems, const char *text)
{
    problems->total++;
    if (problems->count == PROBLEMS_MAX)
        return;
    char **lines = realloc(problems->lines, (problems->count + 1) * sizeof *lines);
    if (lines == NULL)
        return;
    problems->lines = lines;
    lines[problems->count] = strdup(text);
    if (lines[problems->count] != NULL)
        problems->count++;
}

void problems_add_all(struct problems *problems, const char *file, int line, const char *format,
                      va_list arguments)
{
    char text[MESSAGE];
    int count = 0;

    if (file != NULL && line > 0)
        count = snprintf(text, sizeof text, "%s:%d: ", file, line);
    else if (file != NULL)
        count = snprintf(text, sizeof text, "%s: ", file);
    if (count >= 0 && (size_t)count < sizeof text)
        vsnprintf(text + count, sizeof text - (size_t)count, format, arguments);
    append(problems, utf8_tame(text));
}

void problems_add(struct problems *problems, const char *file, int line, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    problems_add_all(problems, file, line, format, arguments);
    va_end(arguments);
}
