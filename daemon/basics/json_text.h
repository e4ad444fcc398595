/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writing JSON text into a growing buffer. Commas are put where they belong,
 * strings come out as valid UTF-8 whatever bytes go in, and a number comes
 * out with as few digits as give it back. A member that has no value is left
 * out; a bare number that is not finite spoils the whole text, so that it
 * can never reach a client as something else.
 */
#ifndef GRADUS_DAEMON_TEXT_H
#define GRADUS_DAEMON_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A text in the making. Start with {0}; free with text_free(). Read bytes, length and failed. */
struct text {
    char *bytes; /* terminated by a NUL that is not counted; NULL while empty */
    size_t length;
    size_t capacity;
    bool failed; /* memory was short, or a bare number was not finite: not to be used */
};

/* Frees the bytes and leaves an empty text. */
void text_free(struct text *text);

/* Empties the text and keeps its memory. */
void text_reset(struct text *text);

/* Appends bytes as they are. */
void text_raw(struct text *text, const char *bytes, size_t count);

/* Appends a JSON text as the next element or as the value of the last key. */
void text_json(struct text *text, const char *bytes, size_t count);

/* Opens an object or array: '{' or '['. */
void text_open(struct text *text, char bracket);

/* Closes it: '}' or ']'. */
void text_close(struct text *text, char bracket);

/* Writes a key; the value comes next. `key` must need no escaping. */
void text_key(struct text *text, const char *key);

/* Key, and the object or array that is its value opened. */
void text_member_open(struct text *text, const char *key, char bracket);

/* Writes a string; bytes that are not UTF-8 become U+FFFD. */
void text_string(struct text *text, const char *string);

/* As text_string(), `count` bytes, NUL included. */
void text_bytes(struct text *text, const char *bytes, size_t count);

/* Writes a number that must be finite. */
void text_number(struct text *text, double number);

/* Append a value of its kind. */
void text_integer(struct text *text, int64_t number);
void text_bool(struct text *text, bool value);

/* Key and value; left out when the string is NULL or empty. */
void text_member_string(struct text *text, const char *key, const char *string);

/* Key and value; left out when the number is not finite. */
void text_member_number(struct text *text, const char *key, double number);

/* Append a member of its kind. */
void text_member_integer(struct text *text, const char *key, int64_t number);
void text_member_bool(struct text *text, const char *key, bool value);

#endif
