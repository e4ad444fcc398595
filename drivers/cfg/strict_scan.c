/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "strict_scan.h"

#include "core/basics/utf8.h"
#include "slurp.h"
#include "strict_meant.h"
#include "strict_number.h"

#include <ctype.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MAX_DEPTH = 10, MAX_NESTING = 100, MAX_INCLUDES = 1000, MAX_BYTES = 16 * 1024 * 1024 };

/* One file that is being scanned, and the one that includes it. */
struct frame {
    const struct frame *outer;
    int depth;
    const char *name;
    size_t file; /* index in the joined text */
    const char *text;
    size_t length;
    size_t at;
    int line;
    bool fresh; /* nothing but blanks on this line so far */
};

struct scan {
    struct joined *joined;
    struct problems *problems;
    int nesting;                /* brackets open */
    char open[MAX_NESTING + 1]; /* which; the first is the file itself, a group */
    char last;    /* significant byte before this one: that of a value stands for all of it */
    int includes; /* so far */
    size_t bytes; /* of the included files so far */
    bool fatal;   /* the library would misread the text */
    bool stopped; /* no memory, or too long: nothing more can be taken */
};

static void scan_file(struct scan *scan, struct frame *frame);

/* The byte `ahead` of where we are; NUL at the end of the file. */
static char peek(const struct frame *frame, size_t ahead)
{
    size_t at = frame->at + ahead;

    return at < frame->length ? frame->text[at] : '\0';
}

static bool at_end(const struct frame *frame, size_t ahead)
{
    return frame->at + ahead >= frame->length;
}

static void put(struct scan *scan, struct frame *frame, char byte)
{
    if (scan->stopped || joined_put(scan->joined, byte, frame->file, frame->line))
        return;
    scan->stopped = true;
    scan->fatal = true;
    problems_add(scan->problems, frame->name, frame->line, "too much text, includes counted");
}

/* Hands `count` bytes on to the joined text as they are. */
static void copy(struct scan *scan, struct frame *frame, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        char byte = frame->text[frame->at++];
        put(scan, frame, byte);
        if (byte == '\n') {
            frame->line++;
            frame->fresh = true;
        } else if (byte != ' ' && byte != '\t') {
            frame->fresh = false;
        }
    }
}

static void line_comment(struct frame *frame)
{
    size_t count = 0;

    while (!at_end(frame, count) && peek(frame, count) != '\n')
        count++;
    frame->at += count;
}

/* Only the line ends of a comment are handed on. */
static void block_comment(struct scan *scan, struct frame *frame)
{
    int opened = frame->line;

    frame->at += 2;
    while (!at_end(frame, 0)) {
        if (peek(frame, 0) == '*' && peek(frame, 1) == '/') {
            frame->at += 2;
            put(scan, frame, ' ');
            return;
        }
        if (peek(frame, 0) == '\n')
            copy(scan, frame, 1);
        else
            frame->at++;
    }
    problems_add(scan->problems, frame->name, opened,
                 "a comment begins here and never ends, expected \"*/\"");
    scan->fatal = true;
}

/* Looks at the escape `ahead` of us; returns how many bytes it takes. */
static size_t escape(struct scan *scan, const struct frame *frame, size_t ahead)
{
    char kind = peek(frame, ahead + 1);
    char high = peek(frame, ahead + 2);
    char low = high != '\0' ? peek(frame, ahead + 3) : '\0';

    if (kind != '\0' && strchr("\\\"nrtf", kind) != NULL)
        return 2;
    if ((kind == 'x' || kind == 'X') && isxdigit((unsigned char)high) &&
        isxdigit((unsigned char)low)) {
        if (high == '0' && low == '0') {
            problems_add(scan->problems, frame->name, frame->line,
                         "a text cannot hold the NUL byte \\x00");
        }
        return 4;
    }
    problems_add(scan->problems, frame->name, frame->line,
                 "unknown escape in a text, expected one of \\\\ \\\" \\n \\r \\t \\f \\xHH");
    return 1;
}

/*
 * The library lets a text run over line ends, and then blames a missing quote
 * on a line far below; here a text ends on its line.
 */
static void quoted(struct scan *scan, struct frame *frame)
{
    size_t count = 1;

    while (!at_end(frame, count) && peek(frame, count) != '\n') {
        char byte = peek(frame, count);
        if (byte == '"') {
            copy(scan, frame, count + 1);
            scan->last = '"';
            return;
        }
        count += byte == '\\' ? escape(scan, frame, count) : 1;
    }
    problems_add(scan->problems, frame->name, frame->line,
                 "a text begins on this line and is not closed, expected a closing quote");
    scan->last = '"';
    scan->fatal = true;
    copy(scan, frame, at_end(frame, count) ? frame->length - frame->at : count);
}

static bool in_group(const struct scan *scan)
{
    return scan->nesting <= 0 || scan->nesting > MAX_NESTING || scan->open[scan->nesting] == '{';
}

/* How many bytes from `ahead` on belong to a word or a number, and to neither a list nor an end. */
static size_t word_length(const struct frame *frame, size_t ahead)
{
    size_t count = 0;
    char byte;

    while ((byte = peek(frame, ahead + count)) != '\0' &&
           ((unsigned char)byte >= 0x80 || isalnum((unsigned char)byte) ||
            strchr("_%.*-+'", byte) != NULL))
        count++;
    return count;
}

/* What is glued to the end of a number: "p" of 12p, "%" of 5%, ",3" of 3,3; its length in bytes. */
static size_t glued(const struct scan *scan, const struct frame *frame, size_t length)
{
    if (peek(frame, length) == ',' && isdigit((unsigned char)peek(frame, length + 1)) &&
        in_group(scan))
        return 1 + word_length(frame, length + 1);
    return word_length(frame, length);
}

/* Says what a number with something glued to it should be, and drops that, so as to find more. */
static void drop_glued(struct scan *scan, struct frame *frame, const struct strict_token *token,
                       size_t count)
{
    char number[32];
    char tail[32];
    char meant[96];

    snprintf(number, sizeof number, "%.*s", (int)(token->length), token->text);
    snprintf(tail, sizeof tail, "%.*s", (int)count, token->text + token->length);
    strict_meant(number, tail, meant, sizeof meant);
    problems_add(scan->problems, frame->name, frame->line, "\"%s%s\" is no number, expected %s",
                 number, tail, meant);
    frame->at += count;
    joined_doubt(scan->joined);
}

static void number(struct scan *scan, struct frame *frame)
{
    struct strict_token token;

    strict_token_read(frame->text + frame->at, frame->length - frame->at, &token);
    bool good = strict_token_check(&token, frame->name, frame->line, scan->problems);
    size_t tail = glued(scan, frame, token.length);
    copy(scan, frame, token.length);
    if (!good)
        joined_doubt(scan->joined);
    if (tail > 0)
        drop_glued(scan, frame, &token, tail);
    scan->last = '0';
}

static bool is_truth(const char *text, size_t length)
{
    return (length == 4 && strncasecmp(text, "true", length) == 0) ||
           (length == 5 && strncasecmp(text, "false", length) == 0);
}

/* A text without its quotes; a number stands in for it, so as to find more. */
static void unquoted(struct scan *scan, struct frame *frame)
{
    size_t count = 0;

    while (!at_end(frame, count) && strchr(";,(){}[]#\"\r\n", peek(frame, count)) == NULL)
        count++;
    while (count > 1 && isspace((unsigned char)peek(frame, count - 1)))
        count--;
    int shown = (int)utf8_prefix(frame->text + frame->at, count < 60 ? count : 60);
    problems_add(scan->problems, frame->name, frame->line,
                 "%.*s stands without quotes, expected "
                 "\"%.*s\", or a number, true or false",
                 shown, frame->text + frame->at, shown, frame->text + frame->at);
    put(scan, frame, '0');
    frame->at += count;
    frame->fresh = false;
    joined_doubt(scan->joined);
    scan->last = '0';
}

static void name(struct scan *scan, struct frame *frame)
{
    size_t count = 1;

    while (isalnum((unsigned char)peek(frame, count)) ||
           (peek(frame, count) != '\0' && strchr("-_*", peek(frame, count)) != NULL))
        count++;
    bool value = scan->last == '=' || scan->last == ':' || (scan->last == ',' && !in_group(scan)) ||
                 scan->last == '(' || scan->last == '[';
    if (value && !is_truth(frame->text + frame->at, count)) {
        unquoted(scan, frame);
        return;
    }
    copy(scan, frame, count);
    scan->last = 'a';
}

/* Between two elements of a list there is a comma. */
static void check_comma(struct scan *scan, const struct frame *frame)
{
    if (strchr("}])\"0", scan->last) == NULL || scan->last == '\0' || in_group(scan))
        return;
    problems_add(scan->problems, frame->name, frame->line,
                 "no comma before this %c, expected one between the elements of a list",
                 peek(frame, 0));
    joined_put(scan->joined, ',', frame->file, frame->line);
}

static void bracket(struct scan *scan, struct frame *frame)
{
    bool opens = strchr("([{", peek(frame, 0)) != NULL;

    if (opens)
        check_comma(scan, frame);
    scan->nesting += opens ? 1 : -1;
    if (opens && scan->nesting > 0 && scan->nesting <= MAX_NESTING)
        scan->open[scan->nesting] = peek(frame, 0);
    scan->last = peek(frame, 0);
    if (scan->nesting > MAX_NESTING && !scan->fatal) {
        problems_add(scan->problems, frame->name, frame->line,
                     "brackets are nested more than %d deep", MAX_NESTING);
        scan->fatal = true;
    }
    copy(scan, frame, 1);
}

/* Takes out of `@include "path"` the path; its length in bytes, 0 when it is none. */
static size_t include_path(const struct frame *frame, char *path, size_t size)
{
    static const char word[] = "@include";
    size_t at = sizeof word - 1;
    size_t count = 0;

    if (!frame->fresh || frame->length - frame->at < at ||
        memcmp(frame->text + frame->at, word, at) != 0)
        return 0;
    while (peek(frame, at) == ' ' || peek(frame, at) == '\t')
        at++;
    if (peek(frame, at++) != '"')
        return 0;
    while (peek(frame, at) != '"') {
        char byte = peek(frame, at++);
        if (byte == '\0' || byte == '\n' || byte == '\\' || count + 1 == size)
            return 0;
        path[count++] = byte;
    }
    path[count] = '\0';
    return count > 0 ? at + 1 : 0;
}

/* Puts the folder of the including file before a relative path. */
static bool include_resolve(const struct frame *frame, const char *path, char *full, size_t size)
{
    const char *slash = strrchr(frame->name, '/');
    int folder = path[0] == '/' || slash == NULL ? 0 : (int)(slash + 1 - frame->name);
    int count = snprintf(full, size, "%.*s%s", folder, frame->name, path);

    return count > 0 && (size_t)count < size;
}

/* Whether a file may be included here: no cycle, not too deep. */
static bool include_allowed(const struct scan *scan, const struct frame *frame, const char *path)
{
    for (const struct frame *outer = frame; outer != NULL; outer = outer->outer) {
        if (slurp_same_file(outer->name, path)) {
            problems_add(scan->problems, frame->name, frame->line,
                         "\"%s\" is included from within itself", path);
            return false;
        }
    }
    if (frame->depth == MAX_DEPTH) {
        problems_add(scan->problems, frame->name, frame->line,
                     "includes are nested more than %d deep", MAX_DEPTH);
        return false;
    }
    return true;
}

/* Whether there may be one more; files that include others many times are read no further. */
static bool include_counts(struct scan *scan, const struct frame *frame, size_t length)
{
    scan->bytes += length;
    if (scan->includes++ < MAX_INCLUDES && scan->bytes <= MAX_BYTES)
        return true;
    if (!scan->stopped)
        problems_add(scan->problems, frame->name, frame->line,
                     "too much is included, expected at most %d files and %d bytes in all",
                     MAX_INCLUDES, MAX_BYTES);
    scan->stopped = true;
    return false;
}

static bool include_file(struct scan *scan, const struct frame *outer, const char *path)
{
    struct frame frame = { .outer = outer, .depth = outer->depth + 1, .name = path };

    if (scan->stopped || !include_allowed(scan, outer, path))
        return false;
    char *text = slurp(path, &frame.length, outer->name, outer->line, scan->problems);
    if (text == NULL)
        return false;
    frame.text = text;
    bool counts = slurp_is_settings(path, outer->name, outer->line, scan->problems) &&
                  include_counts(scan, outer, frame.length);
    if (counts)
        scan_file(scan, &frame);
    free(text);
    return counts;
}

static void include(struct scan *scan, struct frame *frame)
{
    char path[PATH_MAX];
    char full[PATH_MAX];
    size_t count = include_path(frame, path, sizeof path);

    if (count == 0 || !include_resolve(frame, path, full, sizeof full)) {
        problems_add(scan->problems, frame->name, frame->line,
                     "expected @include \"FILE\" at the start of a line");
        scan->fatal = true;
        frame->at++;
        return;
    }
    if (!include_file(scan, frame, full))
        scan->fatal = true;
    frame->at += count;
    frame->fresh = false;
}

static void forbidden(struct scan *scan, struct frame *frame)
{
    problems_add(scan->problems, frame->name, frame->line,
                 "byte 0x%02X does not belong in a settings text",
                 (unsigned)(unsigned char)peek(frame, 0));
    scan->fatal = true;
    frame->at++;
}

static void plain(struct scan *scan, struct frame *frame)
{
    char byte = peek(frame, 0);

    scan->last = isspace((unsigned char)byte) ? scan->last : byte;
    copy(scan, frame, 1);
}

static void token(struct scan *scan, struct frame *frame)
{
    char byte = peek(frame, 0);
    char next = peek(frame, 1);

    if (byte == '"')
        quoted(scan, frame);
    else if (byte == '#' || (byte == '/' && next == '/'))
        line_comment(frame);
    else if (byte == '/' && next == '*')
        block_comment(scan, frame);
    else if (byte == '@')
        include(scan, frame);
    else if (strict_token_begins(byte, next))
        number(scan, frame);
    else if (isalpha((unsigned char)byte) || byte == '*')
        name(scan, frame);
    else if (byte != '\0' && strchr("([{}])", byte) != NULL)
        bracket(scan, frame);
    else if ((byte >= ' ' && byte <= '~') || (byte != '\0' && strchr("\t\n\r\f", byte) != NULL))
        plain(scan, frame);
    else
        forbidden(scan, frame);
}

static int line_of(const struct frame *frame, size_t at)
{
    int line = 1;

    for (size_t i = 0; i < at; i++)
        line += frame->text[i] == '\n';
    return line;
}

/* Reports bytes that are not UTF-8 and skips a byte-order mark. A NUL would end the text. */
static void encoding(struct scan *scan, struct frame *frame)
{
    const char *nul = memchr(frame->text, '\0', frame->length);
    size_t good = utf8_prefix(frame->text, frame->length);

    if (nul != NULL) {
        problems_add(scan->problems, frame->name, line_of(frame, (size_t)(nul - frame->text)),
                     "a NUL byte does not belong in a settings text");
        scan->fatal = true;
        frame->length = (size_t)(nul - frame->text);
    }
    if (good < frame->length) {
        problems_add(scan->problems, frame->name, line_of(frame, good),
                     "bytes that are not UTF-8, expected UTF-8");
    }
    if (frame->length >= 3 && memcmp(frame->text, "\xEF\xBB\xBF", 3) == 0) {
        problems_add(scan->problems, frame->name, 1,
                     "a byte-order mark, expected plain UTF-8 without one");
        frame->at = 3;
    }
}

static void scan_file(struct scan *scan, struct frame *frame)
{
    frame->line = 1;
    frame->fresh = true;
    if (!joined_add_file(scan->joined, frame->name, &frame->file)) {
        problems_add(scan->problems, frame->name, 0, "no memory");
        scan->stopped = true;
        scan->fatal = true;
        return;
    }
    encoding(scan, frame);
    while (!at_end(frame, 0) && !scan->stopped)
        token(scan, frame);
    /* A comment on the last line must not swallow what follows the include. */
    if (!joined_at_line_start(scan->joined))
        put(scan, frame, '\n');
}

bool strict_scan(struct joined *joined, const char *text, size_t length, const char *name,
                 struct problems *problems)
{
    struct scan scan = { .joined = joined, .problems = problems };
    struct frame frame = { .name = name, .text = text, .length = length };

    scan_file(&scan, &frame);
    return !scan.fatal;
}
