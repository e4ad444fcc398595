/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "nearest.h"

#include <string.h>

enum { WORD = 63, WEIGHED_MOST = 400000 };

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static size_t larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

/* What one row of the table comes to; the smallest number in it. */
static size_t fill_row(size_t *row, const size_t *last, const size_t *before, const char *word,
                       size_t i, const char *other, size_t width)
{
    size_t smallest = row[0] = i;
    for (size_t j = 1; j <= width; j++) {
        size_t change = last[j - 1] + (word[i - 1] != other[j - 1]);
        row[j] = smaller(change, smaller(last[j], row[j - 1]) + 1);
        if (i > 1 && j > 1 && word[i - 1] == other[j - 2] && word[i - 2] == other[j - 1])
            row[j] = smaller(row[j], before[j - 2] + 1);
        smallest = smaller(smallest, row[j]);
    }
    return smallest;
}

/*
 * Optimal string alignment: three rows of the edit distance table suffice. Once two rows that
 * follow each other hold nothing of at most `most`, no later one does: more than `most` then.
 */
static size_t distance_within(const char *word, const char *other, size_t most)
{
    size_t rows[3][WORD + 1];
    size_t *before = rows[0];
    size_t *last = rows[1];
    size_t *row = rows[2];
    size_t height = strnlen(word, WORD);
    size_t width = strnlen(other, WORD);
    size_t smallest = 0;

    for (size_t j = 0; j <= width; j++) {
        before[j] = j;
        last[j] = j;
    }
    for (size_t i = 1; i <= height; i++) {
        size_t earlier = smallest;
        smallest = fill_row(row, last, before, word, i, other, width);
        if (smallest > most && earlier > most)
            return smallest;
        size_t *oldest = before;
        before = last;
        last = row;
        row = oldest;
    }
    return last[width];
}

size_t nearest_distance(const char *word, const char *other)
{
    return distance_within(word, other, WORD);
}

/*
 * Slips that are needed at the least, from how often each letter stands in both: one slip adds, takes
 * away or changes one of them, and swapping changes none. Cheap, and enough for most words.
 */
static size_t least_distance(const char *word, const char *other)
{
    signed char more[256] = { 0 };
    size_t missing = 0, beyond = 0;
    for (const char *at = word; *at != '\0'; at++)
        more[(unsigned char)*at]++;
    for (const char *at = other; *at != '\0'; at++)
        missing += more[(unsigned char)*at]-- <= 0;
    size_t length = strlen(word), width = strlen(other);
    beyond = length + missing - width;
    return larger(missing, beyond);
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
    size_t allowed = smaller(length < 4 ? 1 : larger(2, length / 3), length > 0 ? length - 1 : 0);
    char one[WORD + 1] = "";
    char other[WORD + 1] = "";
    if (nearest->weighed > WEIGHED_MOST || (nearest->word != NULL && nearest->distance == 0))
        return;
    nearest->weighed += 2 * length;
    if (nearest->word != NULL)
        allowed = smaller(allowed, nearest->distance - 1);
    fold(unknown, one);
    fold(known, other);
    if (length == 0 || least_distance(one, other) > allowed)
        return;
    nearest->weighed += length * length;
    size_t distance = distance_within(one, other, allowed);

    if (distance <= allowed) {
        nearest->word = known;
        nearest->distance = distance;
    }
}
