/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Anchors: a file beside the database, PATH.anchors, that only grows. A line
 * of it names a row and its digest, so that a database which was cut short,
 * emptied, removed or replaced does not fit any more:
 *
 *     row 1234 DIGEST TIME [HMAC]
 *     aside NAME TIME [HMAC]
 *
 * (one blank between words; digests in hexadecimal; `aside` stands where a
 * damaged database was put away under that name, and nothing before it counts
 * any more). With a key each line ends in the HMAC-SHA-256 (RFC 2104) of the
 * one of the line before (32 zero bytes where that has none) and of the line up
 * to the blank before its own: who has no key can neither add nor change nor
 * take out a line, but only cut the file's end, which the log shows.
 *
 * A line is written when its row is durable, and flushed; so the file is at
 * most behind the database, never ahead. What a kill left of a line is passed
 * over.
 */
#ifndef GRADUS_DAEMON_STORE_ANCHOR_H
#define GRADUS_DAEMON_STORE_ANCHOR_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"
#include "store_chain.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { ANCHOR_KEY_LEAST = 16, ANCHOR_KEY_MOST = 4096, ANCHOR_LINE = 512 };

struct anchor_key {
    size_t length; /* 0: lines have no HMAC */
    uint8_t bytes[ANCHOR_KEY_MOST];
};

/* One line. */
struct anchor {
    int64_t id; /* of the row; 0: nothing is there to be found */
    uint8_t digest[CHAIN_SIZE];
    char time[40];           /* when it was written */
    bool keyed;              /* it has an HMAC */
    uint8_t mac[CHAIN_SIZE]; /* that one; zero where it has none */
};

/* What the end of a file says. */
struct anchor_end {
    bool there;         /* there is a file */
    bool wrong;         /* its last line was not written with the key */
    struct anchor last; /* the last whole line */
};

/* Where the anchors of the database at `path` are. Returns `name`. */
char *anchor_path(const char *path, char *name, size_t size);

/*
 * Reads a key: a file of ANCHOR_KEY_LEAST to ANCHOR_KEY_MOST bytes, taken as they are, that
 * others may not read. "": no key. False with the failure set.
 */
bool anchor_key_read(const char *path, struct anchor_key *key, struct failure *failure);

/*
 * Takes a line apart, `length` bytes without the newline. False, writing
 * nothing, where it is none. `before` is the HMAC of the one before; `wrong`
 * becomes whether the key did not write it (never without a key).
 */
bool anchor_parse(const char *line, size_t length, const struct anchor_key *key,
                  const uint8_t before[CHAIN_SIZE], struct anchor *anchor, bool *wrong);

/* Reads the end of the file at `path`. False with the failure set when it cannot be read. */
bool anchor_read_end(const char *path, const struct anchor_key *key, struct anchor_end *end,
                     struct failure *failure);

/*
 * Appends a line for a row, or with `aside` for a database that was put away,
 * behind the line `last`, which becomes the new one. The file is made, private, when it is not
 * there. False with the failure set.
 */
bool anchor_append(const char *path, const struct anchor_key *key, struct anchor *last, int64_t id,
                   const uint8_t digest[CHAIN_SIZE], const char *aside, struct failure *failure);

/* A digest in hexadecimal. Returns `text`. */
char *anchor_hex(const uint8_t digest[CHAIN_SIZE], char text[2 * CHAIN_SIZE + 1]);

#endif
