/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The chain of digests through the store: the digest of a row is the SHA-256
 * (FIPS 180-4) of the digest of the row before and of what the row holds, so
 * that a row that was removed or altered makes every later one not fit.
 *
 * What a row holds goes in field by field, each with its kind and length
 * before it, so that no two different rows have the same bytes.
 */
#ifndef GRADUS_DAEMON_STORE_SEAL_H
#define GRADUS_DAEMON_STORE_SEAL_H

#include <nettle/sha2.h>
#include <stddef.h>
#include <stdint.h>

enum { SEAL_SIZE = SHA256_DIGEST_SIZE };

/* A row being digested. */
struct seal {
    struct sha256_ctx context;
};

/* Begins a row of `kind` after the row with that digest; NULL: it is the first. */
void seal_begin(struct seal *seal, const uint8_t before[SEAL_SIZE], const char *kind);

/* Adds a text; NULL is another thing than an empty one. */
void seal_text(struct seal *seal, const char *text);

/* As seal_text(), for `length` bytes; `bytes` NULL as there. */
void seal_bytes(struct seal *seal, const void *bytes, size_t length);

/* Adds a number. Reals go in by their 64 bits (IEEE 754), any NAN as "none". */
void seal_integer(struct seal *seal, int64_t number);
void seal_real(struct seal *seal, double number);

/* Ends the row and writes its digest. */
void seal_end(struct seal *seal, uint8_t digest[SEAL_SIZE]);

#endif
