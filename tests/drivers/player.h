/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An instrument that answers from a table behind a Unix socket, on a thread
 * of its own. It is strict: a message that is not in its table is an error.
 * Messages and replies end with a newline.
 */
#ifndef GRADUS_TESTS_DRIVERS_PLAYER_H
#define GRADUS_TESTS_DRIVERS_PLAYER_H

#include <stddef.h>

enum { PLAYER_TEXT = 2048, PLAYER_ROWS = 64 };

/* `reply` NULL: the message has none. */
struct player_row {
    const char *message;
    const char *reply;
};

struct player;

/* Listens and answers from `rows`, ended by a NULL message; texts are borrowed. NULL on failure. */
struct player *player_start(const struct player_row *rows);

/* The link to it. */
const char *player_link(const struct player *player);

/* From now on `message` of the table is answered with `reply`. */
void player_answer(struct player *player, const char *message, const char *reply);

/* The next time `message` is answered with `reply`, then as ever. */
void player_answer_once(struct player *player, const char *message, const char *reply);

/* As player_answer_once(), after `message` has been answered `skip` times as ever. */
void player_answer_later(struct player *player, const char *message, unsigned skip,
                         const char *reply);

/* Closes the connection, as an instrument that is switched off. */
void player_drop(struct player *player);

/*
 * The commands that came since the last call, in order, each followed by a
 * blank; a message with a question mark is a query and left out. Valid until
 * the next call. Only complete after a query has been answered.
 */
const char *player_commands(struct player *player);

/* The queries that came since the last call of this, in the same way. */
const char *player_queries(struct player *player);

/*
 * Waits until the other side has closed, frees, and returns "" or what went
 * wrong, valid until the next call. Commands not asked for yet are copied to
 * `commands` (PLAYER_TEXT bytes) when it is not NULL. Close the link first.
 */
const char *player_finish(struct player *player, char *commands);

#endif
