/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scpi_match.h"

#include <ctype.h>
#include <stdlib.h>
#include <strings.h>

static size_t word_length(const char *text)
{
    size_t length = 0;

    while (isalpha((unsigned char)text[length]) || text[length] == '*')
        length++;
    return length;
}

/* The capitals at the front of a pattern's word. */
static size_t short_length(const char *word)
{
    size_t length = 0;

    while (isupper((unsigned char)word[length]) || word[length] == '*')
        length++;
    return length;
}

/* One word of the pattern against one of the text; moves both past it. */
static bool match_word(const char **pattern, const char **text)
{
    size_t whole = word_length(*pattern);
    size_t brief = short_length(*pattern);
    size_t given = word_length(*text);

    if ((given != whole && given != brief) || strncasecmp(*pattern, *text, given) != 0)
        return false;
    *pattern += whole;
    *text += given;
    return true;
}

/* A numeric suffix of at most four digits where the pattern has a `#`. */
static bool match_suffix(const char **pattern, const char **text, int *suffix)
{
    size_t digits = 0;

    *suffix = 1;
    if (**pattern != '#')
        return true;
    (*pattern)++;
    while (isdigit((unsigned char)(*text)[digits]))
        digits++;
    if (digits > 4)
        return false;
    if (digits > 0) {
        *suffix = (int)strtol(*text, NULL, 10);
        *text += digits;
    }
    return true;
}

bool scpi_match_header(const char *pattern, const char *header, int *suffixes)
{
    size_t places = 0;

    for (size_t i = 0; i < SCPI_SUFFIXES; i++)
        suffixes[i] = 1;
    for (;;) {
        int suffix;
        bool place;

        if (!match_word(&pattern, &header))
            return false;
        place = *pattern == '#';
        if (!match_suffix(&pattern, &header, &suffix))
            return false;
        if (place && places < SCPI_SUFFIXES)
            suffixes[places++] = suffix;
        if (*pattern != *header)
            return false;
        if (*pattern == '\0')
            return true;
        pattern++;
        header++;
    }
}

bool scpi_matches(const char *pattern, const char *text)
{
    int suffixes[SCPI_SUFFIXES];

    return scpi_match_header(pattern, text, suffixes);
}
