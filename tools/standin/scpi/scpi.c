/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scpi.h"

#include "scpi_match.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { UNIT_LENGTH = 256 };

/* A program message being executed. */
struct run {
    struct scpi *scpi;
    const struct scpi_row *rows;
    void *owner;
    struct text *answer;
    size_t answers;
    bool identity_given;    /* its answer must be the last of the message */
    char path[UNIT_LENGTH]; /* the node that headers without a leading colon start from */
};

/* A program message unit taken apart. */
struct unit {
    char header[UNIT_LENGTH]; /* from the root, no leading colon, no `?` */
    char argument[UNIT_LENGTH];
    bool query;
};

/* Bytes up to the next `;` outside quotes; *closed is false when a string is left open. */
static size_t unit_length(const char *text, bool *closed)
{
    char quote = '\0';
    size_t length = 0;

    for (; text[length] != '\0' && (quote != '\0' || text[length] != ';'); length++)
        if (quote != '\0')
            quote = text[length] == quote ? '\0' : quote;
        else if (text[length] == '"' || text[length] == '\'')
            quote = text[length];
    *closed = quote == '\0';
    return length;
}

static bool is_white(char c)
{
    return (unsigned char)c <= ' ';
}

static void copy_trimmed(char *to, const char *from, size_t length)
{
    while (length > 0 && is_white(from[0])) {
        from++;
        length--;
    }
    while (length > 0 && is_white(from[length - 1]))
        length--;
    memcpy(to, from, length);
    to[length] = '\0';
}

/* The next header without a leading colon starts beside this one. */
static void move_path(struct run *run, const char *header)
{
    const char *last = strrchr(header, ':');
    size_t length = last != NULL ? (size_t)(last - header) + 1 : 0;

    memcpy(run->path, header, length);
    run->path[length] = '\0';
}

/* Takes a unit apart; false with the error reported. `length` < UNIT_LENGTH. */
static bool read_apart(struct run *run, const char *text, size_t length, struct unit *unit)
{
    char whole[UNIT_LENGTH] = "";
    char header[UNIT_LENGTH] = "";
    size_t end;

    copy_trimmed(whole, text, length);
    for (end = 0; whole[end] != '\0' && !is_white(whole[end]); end++) {
    }
    copy_trimmed(unit->argument, whole + end, strlen(whole + end));
    unit->query = end > 0 && whole[end - 1] == '?';
    copy_trimmed(header, whole, end - unit->query);
    if (header[0] == '*') {
        memcpy(unit->header, header, sizeof header);
        return true;
    }
    bool from_root = header[0] == ':';
    int written = snprintf(unit->header, sizeof unit->header, "%s%s", from_root ? "" : run->path,
                           header + from_root);
    if (written < 0 || (size_t)written >= sizeof unit->header) {
        scpi_report(run->scpi, -113, NULL);
        return false;
    }
    move_path(run, unit->header);
    return true;
}

static const struct scpi_row *find_row(const struct run *run, const struct unit *unit,
                                       struct scpi_call *call)
{
    for (const struct scpi_row *row = run->rows; row->pattern != NULL; row++)
        if (scpi_match_header(row->pattern, unit->header, call->suffix))
            return row;
    return NULL;
}

static bool suffixes_fit(const struct scpi_row *row, const struct scpi_call *call)
{
    int limit = row->suffix_limit > 0 ? row->suffix_limit : 1;

    for (size_t i = 0; i < SCPI_SUFFIXES; i++)
        if (call->suffix[i] < 1 || call->suffix[i] > limit)
            return false;
    return true;
}

/* The error number that keeps a call from its action, or 0. */
static int refuse(const struct scpi_row *row, const struct unit *unit, const struct scpi_call *call)
{
    if (row == NULL || (unit->query ? row->query : row->set) == NULL)
        return -113;
    bool takes = unit->query ? row->query_takes : row->set_takes;
    bool given = unit->argument[0] != '\0';

    if (!suffixes_fit(row, call))
        return -114;
    if (takes != given)
        return takes ? -109 : -108;
    return 0;
}

static bool execute_unit(struct run *run, const struct unit *unit)
{
    struct scpi_call call = {
        .owner = run->owner, .scpi = run->scpi, .argument = unit->argument, .answer = run->answer
    };
    const struct scpi_row *row = find_row(run, unit, &call);
    int refused = refuse(row, unit, &call);
    size_t before = run->answer->count;

    if (unit->query && run->identity_given) {
        scpi_report(run->scpi, -440, NULL);
        return false;
    }
    if (refused != 0) {
        scpi_report(run->scpi, refused, NULL);
        return false;
    }
    call.tag = row->tag;
    if (!unit->query) {
        row->set(&call);
        return true;
    }
    if (run->answers > 0)
        text_add(run->answer, ";", 1);
    size_t start = run->answer->count;
    row->query(&call);
    if (run->answer->count == start) {
        run->answer->count = before;
        return true;
    }
    run->answers++;
    run->identity_given = scpi_matches("*IDN", unit->header);
    return true;
}

static bool clean(const char *message)
{
    for (const char *c = message; *c != '\0'; c++)
        if ((unsigned char)*c > 0x7e)
            return false;
    return true;
}

size_t scpi_execute(struct scpi *scpi, const struct scpi_row *rows, void *owner,
                    const char *message, struct text *answer)
{
    struct run run = { .scpi = scpi, .rows = rows, .owner = owner, .answer = answer };

    if (!clean(message)) {
        scpi_report(scpi, -101, NULL);
        return 0;
    }
    while (*message != '\0') {
        struct unit unit = { .query = false };
        bool closed;
        size_t length = unit_length(message, &closed);

        if (!closed || length >= UNIT_LENGTH) {
            scpi_report(scpi, closed ? -363 : -151, NULL);
            break;
        }
        /* A command error ends the message: what follows it may depend on it. */
        if (strspn(message, " \t\r") < length &&
            (!read_apart(&run, message, length, &unit) || !execute_unit(&run, &unit)))
            break;
        message += length + (message[length] == ';');
    }
    return run.answers;
}

bool scpi_number(struct scpi_call *call, double *number)
{
    const char *text = call->argument;
    char *end;

    /* Only what can begin a decimal number: keeps hexadecimal, infinity and the like out. */
    if (strspn(text, "+-.0123456789") == 0 || strpbrk(text, "xX") != NULL) {
        scpi_report(call->scpi, -104, NULL);
        return false;
    }
    *number = strtod(text, &end);
    if (end == text || !isfinite(*number)) {
        scpi_report(call->scpi, -104, NULL);
        return false;
    }
    if (*end != '\0') {
        scpi_report(call->scpi, isalpha((unsigned char)*end) || is_white(*end) ? -138 : -104, NULL);
        return false;
    }
    return true;
}

bool scpi_choice(struct scpi_call *call, const char *const *words, size_t *choice)
{
    for (size_t i = 0; words[i] != NULL; i++) {
        if (scpi_matches(words[i], call->argument)) {
            *choice = i;
            return true;
        }
    }
    scpi_report(call->scpi, -224, NULL);
    return false;
}
