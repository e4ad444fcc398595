/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pattern_edges.h"

#include "pattern.h"

#include <stddef.h>
#include <stdio.h>
#include <string.h>

static const char before_number[] = "0123456789.+-";
static const char behind_number[] = "0123456789.";

/* One element of a pattern, without its repetitions. */
struct element {
    const char *begin;
    const char *end;
    bool optional; /* it can match nothing */
};

/* A stretch of a pattern, and the characters that are looked for at an edge of it. */
struct stretch {
    const char *begin;
    const char *end;
    const char *wanted;
};

static const char *skip_group(const char *at, const char *end)
{
    int depth = 0;

    do {
        if (*at == '[') {
            at = pattern_skip_bracket(at);
            continue;
        }
        depth += *at == '(' ? 1 : 0;
        depth -= *at == ')' ? 1 : 0;
        at += at[0] == '\\' && at + 1 < end ? 2 : 1;
    } while (depth > 0 && at < end);
    return at;
}

static const char *skip_element(const char *at, const char *end)
{
    if (*at == '(')
        return skip_group(at, end);
    if (*at == '[')
        return pattern_skip_bracket(at);
    return at + (at[0] == '\\' && at + 1 < end ? 2 : 1);
}

/* Takes the element at `at` with its repetitions; returns what follows them. */
static const char *read_element(const char *at, const char *end, struct element *element)
{
    element->begin = at;
    element->end = at = skip_element(at, end);
    element->optional = strchr("^$", *element->begin) != NULL;
    for (; at < end && strchr("*+?{", *at) != NULL; at++) {
        element->optional = element->optional || *at == '*' || *at == '?' ||
                            (*at == '{' && (at[1] == '0' || at[1] == ','));
        if (*at == '{')
            while (at + 1 < end && *at != '}')
                at++;
    }
    return at;
}

/* The end of the alternative that begins at `at`. */
static const char *alternative_end(const char *at, const char *end)
{
    while (at < end && *at != '|')
        at = skip_element(at, end);
    return at;
}

static bool bracket_matches(const struct element *element, const char *wanted)
{
    char text[PATTERN_LENGTH + 3];
    char one[2] = "";
    regex_t pattern;
    bool matches = false;

    snprintf(text, sizeof text, "^%.*s$", (int)(element->end - element->begin), element->begin);
    if (regcomp(&pattern, text, REG_EXTENDED | REG_NOSUB) != 0)
        return true;
    for (; *wanted != '\0' && !matches; wanted++) {
        one[0] = *wanted;
        matches = regexec(&pattern, one, 0, NULL, 0) == 0;
    }
    regfree(&pattern);
    return matches;
}

typedef bool edge_look(const struct stretch *stretch);

/* Whether an element can show a wanted character at the edge that `look` looks at. */
static bool shows(const struct element *element, const char *wanted, edge_look *look)
{
    const char *begin = element->begin;

    if (*begin == '(') {
        const char *end = element->end - 1;
        for (const char *at = begin + 1; at <= end; at = alternative_end(at, end) + 1) {
            const struct stretch inner = { at, alternative_end(at, end), wanted };
            if (look(&inner))
                return true;
        }
        return false;
    }
    if (*begin == '[')
        return bracket_matches(element, wanted);
    if (*begin == '\\')
        return begin + 1 < element->end && strchr(wanted, begin[1]) != NULL;
    return *begin == '.' || (strchr("^$", *begin) == NULL && strchr(wanted, *begin) != NULL);
}

/* NOLINTNEXTLINE(misc-no-recursion): as deep as a pattern of 256 bytes has brackets */
static bool ends_with_wanted(const struct stretch *stretch)
{
    struct element element;
    bool reach = false;

    for (const char *at = stretch->begin; at < stretch->end;) {
        at = read_element(at, stretch->end, &element);
        reach = shows(&element, stretch->wanted, ends_with_wanted) || (element.optional && reach);
    }
    return reach;
}

/* NOLINTNEXTLINE(misc-no-recursion): as deep as a pattern of 256 bytes has brackets */
static bool begins_with_wanted(const struct stretch *stretch)
{
    struct element element = { .optional = true };

    for (const char *at = stretch->begin; at < stretch->end && element.optional;) {
        at = read_element(at, stretch->end, &element);
        if (shows(&element, stretch->wanted, begins_with_wanted))
            return true;
    }
    return false;
}

static bool ends_anchored(const char *begin, const char *end)
{
    const char *last = begin;

    for (const char *at = begin; at < end; at = skip_element(at, end))
        last = at;
    return last < end && *last == '$';
}

bool pattern_anchored(const char *text, bool to_the_end)
{
    const char *end = text + strlen(text);

    for (const char *at = text; at <= end; at = alternative_end(at, end) + 1)
        if (*at != '^' || (to_the_end && !ends_anchored(at, alternative_end(at, end))))
            return false;
    return true;
}

bool pattern_cuts_number(const char *text)
{
    const char *end = text + strlen(text);
    struct element element;

    for (const char *begin = text; begin <= end; begin = alternative_end(begin, end) + 1) {
        const char *stop = alternative_end(begin, end);
        const char *at = begin;
        while (at < stop && *at != '(')
            at = skip_element(at, stop);
        if (at == stop)
            continue;
        const struct stretch before = { begin, at, before_number };
        at = read_element(at, stop, &element);
        const struct stretch behind = { at, stop, behind_number };
        return ends_with_wanted(&before) || begins_with_wanted(&behind);
    }
    return false;
}
