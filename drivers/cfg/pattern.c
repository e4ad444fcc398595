/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pattern.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *pattern_skip_bracket(const char *at)
{
    at++;
    at += *at == '^' ? 1 : 0;
    at += *at == ']' ? 1 : 0;
    while (*at != '\0' && *at != ']') {
        const bool named = at[0] == '[' && at[1] != '\0' && strchr(".:=", at[1]) != NULL;
        const char ending[] = { named ? at[1] : ']', ']', '\0' };
        const char *const end = named ? strstr(at + 2, ending) : NULL;
        at = end != NULL ? end + 2 : at + 1;
    }
    return *at == '\0' ? at : at + 1;
}

/* How often an interval such as {2,5} writes its element out, one more for an open end. */
static double interval_copies(const char **at)
{
    double most = 0.0;
    const char *text = *at + 1;

    for (; *text != '\0' && *text != '}'; text++) {
        if (isdigit((unsigned char)*text)) {
            char *end;
            most = fmax(most, strtod(text, &end));
            text = end - 1;
        }
    }
    *at = *text == '\0' ? text : text + 1;
    return most + 1.0;
}

/* Takes the repetitions behind an element; returns how often they write it out. */
static double copies(const char **at)
{
    double count = 1.0;

    while (**at != '\0' && strchr("*+?{", **at) != NULL) {
        if (**at == '{') {
            count *= interval_copies(at);
        } else {
            count *= **at == '+' ? 2.0 : 1.0;
            (*at)++;
        }
    }
    return count;
}

/* Elements up to the end of the group, or of the text, with repetitions written out. */
static double elements(const char **at, int depth)
{
    double sum = 0.0;

    while (**at != '\0' && !(**at == ')' && depth > 0)) {
        double element = 1.0;
        if (**at == '(') {
            (*at)++;
            element += elements(at, depth + 1);
            *at += **at == ')' ? 1 : 0;
        } else if (**at == '[') {
            *at = pattern_skip_bracket(*at);
        } else {
            *at += (*at)[0] == '\\' && (*at)[1] != '\0' ? 2 : 1;
        }
        sum += element * copies(at);
    }
    return sum;
}

static bool refers_back(const char *text)
{
    while (*text != '\0') {
        if (text[0] == '\\') {
            if (isdigit((unsigned char)text[1]))
                return true;
            text += text[1] != '\0' ? 2 : 1;
        } else {
            text = text[0] == '[' ? pattern_skip_bracket(text) : text + 1;
        }
    }
    return false;
}

bool pattern_compile(regex_t *pattern, const char *text, char *reason, size_t size)
{
    const char *at = text;

    if (strlen(text) > PATTERN_LENGTH) {
        snprintf(reason, size, "longer than %d bytes", PATTERN_LENGTH);
        return false;
    }
    if (!(elements(&at, 0) <= PATTERN_ELEMENTS)) {
        snprintf(reason, size, "more than %d elements when repetitions are written out",
                 PATTERN_ELEMENTS);
        return false;
    }
    if (refers_back(text)) {
        snprintf(reason, size, "it refers back to a group");
        return false;
    }
    const int code = regcomp(pattern, text, REG_EXTENDED);
    if (code != 0) {
        regerror(code, pattern, reason, size);
        memset(pattern, 0, sizeof *pattern);
    }
    return code == 0;
}

bool pattern_whole(const regex_t *pattern, const char *text, size_t length)
{
    regmatch_t match = { -1, -1 };
    return regexec(pattern, text, 1, &match, 0) == 0 && match.rm_so == 0 &&
           (size_t)match.rm_eo == length;
}

bool pattern_begins(const regex_t *pattern, const char *text)
{
    regmatch_t match = { -1, -1 };
    return regexec(pattern, text, 1, &match, 0) == 0 && match.rm_so == 0;
}

static bool is_sign(char c)
{
    return c == '+' || c == '-';
}

static bool cut_before(const char *text, size_t begin)
{
    if (begin > 0 && (isdigit((unsigned char)text[begin - 1]) || text[begin - 1] == '.'))
        return true;
    while (begin > 0 && isblank((unsigned char)text[begin - 1]))
        begin--;
    return begin > 0 && is_sign(text[begin - 1]);
}

static bool cut_behind(const char *rest)
{
    if (isdigit((unsigned char)*rest) || *rest == '.')
        return true;
    rest += strspn(rest, " \t");
    return (*rest == 'E' || *rest == 'e') && isdigit((unsigned char)rest[is_sign(rest[1]) ? 2 : 1]);
}

bool pattern_number(const regex_t *pattern, const char *text, size_t length, const char **number,
                    size_t *count)
{
    regmatch_t groups[2] = { { -1, -1 }, { -1, -1 } };
    if (regexec(pattern, text, 2, groups, 0) != 0 || groups[0].rm_so != 0 ||
        (size_t)groups[0].rm_eo != length || groups[1].rm_so < 0)
        return false;
    *number = text + groups[1].rm_so;
    *count = (size_t)(groups[1].rm_eo - groups[1].rm_so);
    return !cut_before(text, (size_t)groups[1].rm_so) && !cut_behind(text + groups[1].rm_eo);
}
