/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Followed points on a terminal, drawn in place: a line each with the last
 * reading, its verdict or why there is none, and its course.
 */
#ifndef GRADUS_TOOLS_FOLLOW_LIVE_H
#define GRADUS_TOOLS_FOLLOW_LIVE_H

#include "tools/gradus/answers/command.h"
#include "tools/gradus/wire/fault.h"

#include <jansson.h>

struct live;

/* Takes the terminal; points come in the order of live_add(). Free with live_close(). */
struct live *live_open(const struct session *session);

/* Adds a point; `caution` NULL: there is none. */
void live_add(struct live *live, const char *point, const char *caution);

/* Takes a reading in. */
void live_reading(struct live *live, const json_t *reading);

/* Takes in that there is no reading; `point` NULL: of any. */
void live_failure(struct live *live, const char *point, const struct fault *fault);

/* Sets the line above the points, which says what is wrong with all of them. */
void live_note(struct live *live, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* When live_draw() is to be called, on client_now()'s scale; INFINITY: nothing is new. */
double live_due(const struct live *live);

/* Draws. */
void live_draw(struct live *live);

/*
 * What live_draw() draws with the notes, in at most `lines` (0: as many as it takes) on a
 * terminal of that kind. For tests, and for what stays on the screen.
 */
void live_write(const struct live *live, const struct terminal *terminal, FILE *stream,
                size_t lines);

/* Gives the terminal back and leaves the last readings on it. Accepts NULL. */
void live_close(struct live *live);

#endif
