/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "failure.h"

#include <assert.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

struct entry {
    const char *reason;
    int rpc;
    int exit_status;
    bool of_link;
};

static const struct entry entries[FAILURE_CODE_COUNT] = {
#define X(name, reason, rpc, exit_status, of_link)                                                 \
    [FAILURE_##name] = { reason, rpc, exit_status, of_link },
    FAILURE_TABLE(X)
#undef X
};

static bool known(enum failure_code code)
{
    return (unsigned int)code < (unsigned int)FAILURE_CODE_COUNT;
}

/* A code from nowhere must not look like success. */
static const struct entry *entry_of(enum failure_code code)
{
    return &entries[known(code) ? code : FAILURE_SYSTEM];
}

/* Ends a text that was cut in "...", never in the middle of a UTF-8 character. */
static void mark_cut(char *text, size_t size)
{
    static const char dots[] = "...";
    if (size < sizeof(dots))
        return;
    size_t end = size - sizeof(dots);
    while (end > 0 && ((unsigned char)text[end] & 0xC0U) == 0x80U)
        end--;
    memcpy(text + end, dots, sizeof(dots));
}

/* Copies a text, cutting it where it does not fit; size > 0. */
static void copy_cut(char *to, size_t size, const char *from)
{
    size_t length = strlen(from);
    size_t taken = length < size ? length : size - 1;
    memcpy(to, from, taken);
    to[taken] = '\0';
    if (length > taken)
        mark_cut(to, size);
}

void failure_clear(struct failure *failure)
{
    *failure = (struct failure) { .code = FAILURE_NONE };
}

void failure_retry(struct failure *failure, int retry_ms)
{
    if (failure != NULL && failure->code != FAILURE_NONE)
        failure->retry_ms = retry_ms;
}

bool failure_set(struct failure *failure, enum failure_code code, const char *where,
                 const char *expected, const char *format, ...)
{
    assert(code != FAILURE_NONE);
    if (failure == NULL || failure->code != FAILURE_NONE)
        return false;
    failure_clear(failure);
    failure->code = known(code) ? code : FAILURE_SYSTEM;
    copy_cut(failure->where, sizeof(failure->where), where != NULL ? where : "");
    copy_cut(failure->expected, sizeof(failure->expected), expected != NULL ? expected : "");
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(failure->what, sizeof(failure->what), format, arguments);
    va_end(arguments);
    if (length < 0)
        failure->what[0] = '\0';
    else if ((size_t)length >= sizeof(failure->what))
        mark_cut(failure->what, sizeof(failure->what));
    return false;
}

bool failure_no_memory(struct failure *failure, const char *what)
{
    return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for %s", what);
}

const char *failure_reason(enum failure_code code)
{
    return entry_of(code)->reason;
}

int failure_rpc_code(enum failure_code code)
{
    return entry_of(code)->rpc;
}

int failure_exit_status(enum failure_code code)
{
    return entry_of(code)->exit_status;
}

bool failure_is_of_link(enum failure_code code)
{
    return entry_of(code)->of_link;
}

enum failure_code failure_from_reason(const char *reason)
{
    for (int code = 0; code < FAILURE_CODE_COUNT; code++)
        if (strcmp(entries[code].reason, reason) == 0)
            return (enum failure_code)code;
    return FAILURE_NONE;
}

char *failure_text(const struct failure *failure, char *text, unsigned long size)
{
    if (size == 0)
        return text;
    /* All parts at their longest, the reason (the one part not in the record) included. */
    char whole[sizeof(struct failure) + 128];
    bool where = failure->where[0] != '\0';
    bool what = failure->what[0] != '\0';
    bool expected = failure->expected[0] != '\0';
    snprintf(whole, sizeof(whole), "%s%s%s%s%s%s%s", failure->where, where ? ": " : "",
             failure_reason(failure->code), what ? ": " : "", failure->what,
             expected ? ", expected " : "", failure->expected);
    copy_cut(text, size, whole);
    return text;
}
