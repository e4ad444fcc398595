/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "terminal.h"

#include "tools/gradus/basics/status.h"
#include "tools/gradus/basics/terminal_text.h"

#include <langinfo.h>
#include <locale.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { LINE_SIZE = 2048, LEAST_COLUMNS = 20, MOST_COLUMNS = 10000 };

/* The environment's character set, asked without changing this process's locale: numbers stay "C". */
static bool takes_utf8(void)
{
    const locale_t locale = newlocale(LC_CTYPE_MASK, "", (locale_t)0);
    if (locale == (locale_t)0)
        return false;
    const bool utf8 = strcmp(nl_langinfo_l(CODESET, locale), "UTF-8") == 0;
    freelocale(locale);
    return utf8;
}

static bool colour_is_welcome(void)
{
    const char *const refused = getenv("NO_COLOR");
    const char *const kind = getenv("TERM");
    const bool dumb = kind == NULL || strcmp(kind, "dumb") == 0;
    return isatty(STDOUT_FILENO) && (refused == NULL || *refused == '\0') && !dumb;
}

/* POSIX lets the environment say how many columns are wanted; nonsense there says nothing. */
static void read_columns(struct terminal *terminal, const char *wanted)
{
    if (wanted == NULL || wanted[0] == '\0' || wanted[strspn(wanted, "0123456789")] != '\0')
        return;
    const long columns = strtol(wanted, NULL, 10);
    if (columns >= LEAST_COLUMNS && columns <= MOST_COLUMNS) {
        terminal->columns = (int)columns;
        terminal->bounded = true;
    }
}

struct terminal terminal_look(void)
{
    struct terminal terminal = { .ascii = !takes_utf8(),
                                 .colour = colour_is_welcome(),
                                 .progress = isatty(STDERR_FILENO) != 0,
                                 .columns = 80,
                                 .rows = 24 };
    struct winsize size;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 && size.ws_row > 0) {
        terminal.columns = size.ws_col;
        terminal.bounded = true;
        terminal.rows = size.ws_row;
    }
    read_columns(&terminal, getenv("COLUMNS"));
    return terminal;
}

enum style terminal_verdict_style(const char *verdict)
{
    if (verdict == NULL || strcmp(verdict, "none") == 0)
        return STYLE_PLAIN;
    switch (status_of_verdict(verdict)) {
    case STATUS_PASS:
        return STYLE_GOOD;
    case STATUS_UNDECIDED:
        return STYLE_DOUBT;
    default:
        return STYLE_BAD;
    }
}

/* Select Graphic Rendition of ECMA-48. */
void terminal_style(const struct terminal *terminal, FILE *stream, enum style style)
{
    static const char *const codes[] = {
        [STYLE_PLAIN] = "\033[0m",  [STYLE_HEADING] = "\033[1m", [STYLE_GOOD] = "\033[32m",
        [STYLE_DOUBT] = "\033[33m", [STYLE_BAD] = "\033[1;31m",  [STYLE_FAINT] = "\033[2m"
    };
    if (terminal->colour)
        fputs(codes[style], stream);
}

void terminal_put(const struct terminal *terminal, FILE *stream, const char *text)
{
    char *const printable = text_printable(text, terminal->ascii);
    fputs(printable, stream);
    free(printable);
}

/* Puts text line by line, so that its newlines stay newlines. */
static void put_lines(const struct terminal *terminal, FILE *stream, char *text)
{
    char *rest = text;
    char *line;
    while ((line = strsep(&rest, "\n")) != NULL) {
        terminal_put(terminal, stream, line);
        if (rest != NULL)
            fputc('\n', stream);
    }
}

void terminal_print(const struct terminal *terminal, FILE *stream, const char *format, ...)
{
    char text[LINE_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    put_lines(terminal, stream, text);
}

void terminal_complain(const struct terminal *terminal, const char *format, ...)
{
    char text[LINE_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    terminal_progress(terminal, NULL);
    fputs("gradus: ", stderr);
    put_lines(terminal, stderr, text);
    fputc('\n', stderr);
}

void terminal_progress(const struct terminal *terminal, const char *text)
{
    if (!terminal->progress)
        return;
    /* Carriage return and Erase in Line (ECMA-48): the line is written over in place. */
    fputs("\r\033[K", stderr);
    if (text != NULL)
        terminal_put(terminal, stderr, text);
    fflush(stderr);
}
