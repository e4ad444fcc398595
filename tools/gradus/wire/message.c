/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "message.h"

#include "tools/gradus/basics/memory.h"

#include <stdlib.h>
#include <string.h>

bool message_read(const char *line, size_t length, struct message *message, char *problem,
                  size_t problem_size)
{
    json_error_t error;
    json_t *const json = json_loadb(line, length, JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL, &error);
    if (!json_is_object(json)) {
        snprintf(problem, problem_size, "%s", json == NULL ? error.text : "it is not an object");
        json_decref(json);
        return false;
    }
    message->json = json;
    message->text = memory_zeroed(length + 1, 1);
    memcpy(message->text, line, length);
    return true;
}

void message_clear(struct message *message)
{
    json_decref(message->json);
    free(message->text);
    *message = (struct message) { 0 };
}

/* The byte after a string that begins at `at`. */
static const char *skip_string(const char *at, const char *end)
{
    for (at++; at < end && *at != '"'; at++)
        if (*at == '\\')
            at++;
    return at < end ? at + 1 : end;
}

/* The byte after one value: up to a comma or a closing bracket that is not its own. */
static const char *skip_value(const char *at, const char *end)
{
    int depth = 0;
    while (at < end) {
        if (*at == '"') {
            at = skip_string(at, end);
            continue;
        }
        if (*at == '{' || *at == '[') {
            depth++;
        } else if (*at == '}' || *at == ']') {
            if (depth == 0)
                break;
            depth--;
        } else if (*at == ',' && depth == 0) {
            break;
        }
        at++;
    }
    return at;
}

static const char *skip_blanks(const char *at, const char *end)
{
    while (at < end && strchr(" \t\r\n", *at) != NULL)
        at++;
    return at;
}

static size_t trimmed(const char *start, const char *end)
{
    while (end > start && strchr(" \t\r\n", end[-1]) != NULL)
        end--;
    return (size_t)(end - start);
}

const char *message_span(const char *object, size_t length, const char *name, size_t *span_length)
{
    const char *const end = object + length;
    const char *at = skip_blanks(object, end);
    const size_t wanted = strlen(name);
    while (at < end && *at != '}') {
        at = skip_blanks(at + 1, end); /* past the brace or the comma */
        const char *const key = at;
        if (at >= end || *at != '"')
            return NULL;
        at = skip_string(at, end);
        const bool found = (size_t)(at - key) == wanted + 2 && memcmp(key + 1, name, wanted) == 0;
        at = skip_blanks(at, end);
        at = skip_blanks(at < end ? at + 1 : at, end); /* past the colon */
        const char *const value = at;
        at = skip_value(at, end);
        if (found) {
            *span_length = trimmed(value, at);
            return value;
        }
    }
    return NULL;
}
