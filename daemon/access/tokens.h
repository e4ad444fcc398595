/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Named tokens, by which clients over TCP say who they are. A token is 256 random bits; the file
 * holds its SHA-256 only, one line a token:
 *
 *     NAME ROLE EXPIRY SHA-256        bench-4 measure 2027-01-31 9f86d0...
 *
 * No slow hash: it would help against guessing, and 256 random bits are not guessed.
 */
#ifndef GRADUS_DAEMON_TOKENS_H
#define GRADUS_DAEMON_TOKENS_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"
#include "drivers/basics/digest.h"
#include "principal.h"

#include <stdio.h>

enum { TOKEN_DATE = 11 };

struct token {
    char name[ACCESS_NAME];
    enum role role;
    char expiry[TOKEN_DATE]; /* the last day it is taken, UTC, ISO 8601 */
    char digest[DIGEST_SIZE];
};

/* All tokens of a file. Start with {0}; end with tokens_free(). */
struct tokens {
    size_t count;
    struct token *all;
};

/*
 * Reads a file of tokens in the place of those that are there. On failure, with where and what
 * is wrong, they stay. Refused is a file that others than its owner may write, or all may read.
 */
bool tokens_read(struct tokens *tokens, const char *path, struct failure *failure);

/* Frees what is in it. */
void tokens_free(struct tokens *tokens);

/*
 * The token that a text is, if it has not run out at `now`; NULL when there is none. How long
 * that takes does not depend on how much of a text is right.
 */
const struct token *tokens_find(const struct tokens *tokens, const char *text,
                                struct wall_time now);

/* Whether one of that digest is there still and has not run out. */
bool tokens_hold(const struct tokens *tokens, const char *digest, struct wall_time now);

/* Whether a text can name a token: 1 to 63 letters, digits, _ . - */
bool tokens_is_name(const char *text);

/*
 * Makes a token for `days` from today, puts its line behind those of the file, which is made
 * with mode 0640 when it is not there, and writes the token itself to `out`: nothing keeps it.
 */
bool tokens_make(const char *path, const char *name, enum role role, int days, FILE *out,
                 struct failure *failure);

#endif
