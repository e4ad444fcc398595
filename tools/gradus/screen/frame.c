/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "frame.h"

#include "tools/gradus/basics/terminal_text.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/*
 * The alternate screen and the cursor are private modes of the terminals that
 * came after ECMA-48, and of all that imitate them (from memory); the rest is
 * Cursor Position, Erase in Line and Erase in Page of ECMA-48.
 */
static const char take[] = "\033[?1049h\033[?25l";
static const char give_back[] = "\033[0m\033[?25h\033[?1049l";

static volatile sig_atomic_t taken;
static bool opened;

/* Async-signal-safe. */
static void put_in_order(void)
{
    const int kept = errno;
    if (taken) {
        taken = 0;
        const ssize_t written = write(STDOUT_FILENO, give_back, sizeof give_back - 1);
        (void)written;
    }
    errno = kept;
}

/* The next frame takes the terminal again. */
static void on_suspend(int number)
{
    (void)number;
    put_in_order();
    raise(SIGSTOP);
}

static void on_death(int number)
{
    put_in_order();
    raise(number); /* the default action: SA_RESETHAND */
}

static void handle(int number, void (*handler)(int), int flags)
{
    struct sigaction action = { .sa_handler = handler, .sa_flags = flags };
    sigemptyset(&action.sa_mask);
    sigaction(number, &action, NULL);
}

bool frame_possible(void)
{
    const char *const kind = getenv("TERM");
    return isatty(STDOUT_FILENO) && kind != NULL && *kind != '\0' && strcmp(kind, "dumb") != 0;
}

void frame_open(void)
{
    opened = true;
    handle(SIGTSTP, on_suspend, SA_RESTART);
    handle(SIGHUP, on_death, (int)(SA_RESETHAND | SA_NODEFER));
    handle(SIGQUIT, on_death, (int)(SA_RESETHAND | SA_NODEFER));
}

/* The length of a style at the beginning of a text (ESC [ ... m); 0: there is none. */
static size_t style_length(const char *text, size_t length)
{
    size_t at = 2;
    if (length < 3 || text[0] != '\033' || text[1] != '[')
        return 0;
    while (at < length && strchr("0123456789;", text[at]) != NULL)
        at++;
    return at < length && text[at] == 'm' ? at + 1 : 0;
}

/*
 * Looks at the style or letter at the beginning of a text. Returns its bytes,
 * and in `width` what it takes.
 */
static size_t next_piece(const char *text, size_t length, size_t *width)
{
    char letter[8] = "";
    size_t bytes = style_length(text, length);
    *width = 0;
    if (bytes > 0)
        return bytes;
    bytes = 1;
    while (bytes < length && bytes < sizeof letter - 1 &&
           ((unsigned char)text[bytes] & 0xC0) == 0x80)
        bytes++;
    memcpy(letter, text, bytes);
    *width = text_width(letter);
    return bytes;
}

/* Bytes at the front of a line that take at most so many columns. */
static size_t line_fit(const char *line, size_t length, size_t columns)
{
    size_t at = 0;
    size_t total = 0;
    while (at < length) {
        size_t width;
        const size_t bytes = next_piece(line + at, length - at, &width);
        total += width;
        if (total > columns)
            break;
        at += bytes;
    }
    return at;
}

void frame_put_line(FILE *stream, const char *line, size_t length, size_t columns, bool ascii)
{
    if (line_fit(line, length, columns) == length) {
        fwrite(line, 1, length, stream);
        return;
    }
    fwrite(line, 1, line_fit(line, length, columns > 0 ? columns - 1 : 0), stream);
    fputs(memchr(line, '\033', length) != NULL ? "\033[0m" : "", stream);
    fputs(columns == 0 ? "" : ascii ? "~" : "…", stream);
}

void frame_put_lines(const struct terminal *terminal, FILE *stream, const char *text)
{
    while (*text != '\0') {
        const size_t length = strcspn(text, "\n");
        frame_put_line(stream, text, length, (size_t)terminal->columns, terminal->ascii);
        text += length;
        if (*text == '\n')
            fputc(*text++, stream);
    }
}

void frame_draw(const struct terminal *terminal, const char *text)
{
    if (!taken) {
        fputs(take, stdout);
        fflush(stdout);
        taken = 1;
    }
    fputs("\033[H", stdout);
    for (int row = 0; row < terminal->rows && *text != '\0'; row++) {
        const size_t length = strcspn(text, "\n");
        fputs(row > 0 ? "\r\n" : "", stdout);
        frame_put_line(stdout, text, length, (size_t)terminal->columns, terminal->ascii);
        fputs("\033[K", stdout);
        text += length + (text[length] == '\n');
    }
    fputs("\033[J", stdout);
    fflush(stdout);
}

void frame_close(const struct terminal *terminal, const char *text)
{
    if (!opened)
        return;
    opened = false;
    put_in_order();
    handle(SIGTSTP, SIG_DFL, 0);
    handle(SIGHUP, SIG_DFL, 0);
    handle(SIGQUIT, SIG_DFL, 0);
    frame_put_lines(terminal, stdout, text);
    fflush(stdout);
}
