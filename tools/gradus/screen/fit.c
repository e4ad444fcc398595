/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit.h"

#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"

#include <stdlib.h>
#include <string.h>

void fit_lines(size_t room, const size_t *wanted, size_t count, size_t *given)
{
    bool served = true;
    memset(given, 0, count * sizeof *given);
    while (room > 0 && served) {
        served = false;
        for (size_t i = 0; i < count && room > 0; i++) {
            if (given[i] < wanted[i]) {
                given[i]++;
                room--;
                served = true;
            }
        }
    }
}

/* The longest end of a text that takes at most so many columns and begins with no combining mark. */
static const char *tail_of(const char *text, size_t columns)
{
    const char *at = text;
    while (*at != '\0') {
        const size_t width = text_width(at);
        if (width <= columns && text_fit(at, 0) == 0)
            break;
        do {
            at++;
        } while (((unsigned char)*at & 0xC0) == 0x80);
    }
    return at;
}

char *fit_text(const char *text, size_t columns, bool ascii)
{
    if (text_width(text) <= columns)
        return memory_text(text);
    const char *const mark = columns == 0 ? "" : ascii ? "~" : "…";
    const size_t kept = columns == 0 ? 0 : columns - 1;
    const size_t head = text_fit(text, kept - kept / 2);
    const char *const tail = tail_of(text + head, kept / 2);
    const size_t size = head + strlen(mark) + strlen(tail) + 1;
    char *const fitted = memory_zeroed(size, 1);
    snprintf(fitted, size, "%.*s%s%s", (int)head, text, mark, tail);
    return fitted;
}

char *fit_printable(const struct terminal *terminal, const char *text, size_t columns)
{
    char *const printable = text_printable(text, terminal->ascii);
    char *const fitted = fit_text(printable, columns, terminal->ascii);
    free(printable);
    return fitted;
}

void fit_put(const struct terminal *terminal, FILE *stream, const char *text, size_t columns)
{
    char *const fitted = fit_printable(terminal, text, columns);
    const size_t width = text_width(fitted);
    fprintf(stream, "%s%*s", fitted, width < columns ? (int)(columns - width) : 0, "");
    free(fitted);
}
