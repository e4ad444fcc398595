/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Members of a JSON text out of the store. What is absent, or of another
 * type, reads as nothing; so does everything of NULL.
 */
#ifndef GRADUS_DAEMON_BODY_H
#define GRADUS_DAEMON_BODY_H

#include <jansson.h>
#include <stdint.h>

/* The text, borrowed; "" when there is none. */
const char *body_text(const json_t *body, const char *key);

/* The number; NAN when there is none. */
double body_number(const json_t *body, const char *key);

/* The whole number; 0 when there is none. */
int64_t body_integer(const json_t *body, const char *key);

#endif
