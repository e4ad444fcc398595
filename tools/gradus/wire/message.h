/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One line from the daemon, as text and as JSON. The text is kept because
 * --json hands results on as they came, number for number.
 */
#ifndef GRADUS_TOOLS_MESSAGE_H
#define GRADUS_TOOLS_MESSAGE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

struct message {
    char *text; /* the line, without its newline */
    json_t *json;
};

/*
 * Takes a line over. False when it is no JSON object; `problem` then says
 * why and nothing is taken.
 */
bool message_read(const char *line, size_t length, struct message *message, char *problem,
                  size_t problem_size);

/* Frees what it holds and empties it. */
void message_clear(struct message *message);

/*
 * Finds the text of a member of an object, itself given as valid JSON text.
 * Returns its first byte and its length, or NULL when there is no such member.
 * The name is compared as it is written (no escapes).
 */
const char *message_span(const char *object, size_t length, const char *name, size_t *span_length);

#endif
