/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "nearest.h"

#include <string.h>

enum { WORD = 63 };

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static size_t larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

/* Optimal string alignment: three rows of the edit distance table suffice. */
size_t nearest_distance(const char *word, const char *other)
{
    size_t rows[3][WORD + 1];
    size_t *before = rows[0];
    size_t *last = rows[1];
    size_t *row = rows[2];
    size_t height = strnlen(word, WORD);
    size_t width = strnlen(other, WORD);

    for (size_t j = 0; j <= width; j++) {
        before[j] = j;
        last[j] = j;
    }
    for (size_t i = 1; i <= height; i++) {
        row[0] = i;
        for (size_t j = 1; j <= width; j++) {
            size_t change = last[j - 1] + (word[i - 1] != other[j - 1]);
            row[j] = smaller(change, smaller(last[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && word[i - 1] == other[j - 2] && word[i - 2] == other[j - 1])
                row[j] = smaller(row[j], before[j - 2] + 1);
        }
        size_t *oldest = before;
        before = last;
        last = row;
        row = oldest;
    }
    return last[width];
}

/* Case, and what separates the words of a name, are no slips: RAIL_5V is rail-5v. */
static void fold(const char *word, char folded[WORD + 1])
{
    size_t length = strnlen(word, WORD);

    for (size_t i = 0; i < length; i++) {
        char byte = word[i];
        if (byte >= 'A' && byte <= 'Z')
            byte = (char)(byte - 'A' + 'a');
        folded[i] = byte == '-' || byte == ' ' || byte == '.' ? '_' : byte;
    }
    folded[length] = '\0';
}

void nearest_offer(struct nearest *nearest, const char *unknown, const char *known)
{
    size_t length = larger(strnlen(unknown, WORD), strnlen(known, WORD));
    size_t allowed = length < 4 ? 1 : larger(2, length / 3);
    char one[WORD + 1] = "";
    char other[WORD + 1] = "";
    fold(unknown, one);
    fold(known, other);
    size_t distance = nearest_distance(one, other);

    if (distance <= allowed && distance < length &&
        (nearest->word == NULL || distance < nearest->distance)) {
        nearest->word = known;
        nearest->distance = distance;
    }
}
