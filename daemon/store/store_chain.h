/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The chain of digests through the store: the digest of a row is the SHA-256
 * (FIPS 180-4) of the digest of the row before and of what the row holds, so
 * that a row that was removed or altered makes every later one not fit.
 *
 * What a row holds goes in field by field, each with its kind and length
 * before it, so that no two different rows have the same bytes.
 */
#ifndef GRADUS_DAEMON_STORE_CHAIN_H
#define GRADUS_DAEMON_STORE_CHAIN_H

#include <nettle/sha2.h>
#include <stddef.h>
#include <stdint.h>

enum { CHAIN_SIZE = SHA256_DIGEST_SIZE };

/* A row being digested. */
struct chain_link {
    struct sha256_ctx context;
};

/* Begins a row of `kind` after the row with that digest; NULL: it is the first. */
void chain_begin(struct chain_link *link, const uint8_t before[CHAIN_SIZE], const char *kind);

/* Adds a text; NULL is another thing than an empty one. */
void chain_text(struct chain_link *link, const char *text);

/* As chain_text(), for `length` bytes; `bytes` NULL as there. */
void chain_bytes(struct chain_link *link, const void *bytes, size_t length);

/* Adds a number. Reals go in by their 64 bits (IEEE 754), any NAN as "none". */
void chain_integer(struct chain_link *link, int64_t number);
void chain_real(struct chain_link *link, double number);

/* Ends the row and writes its digest. */
void chain_end(struct chain_link *link, uint8_t digest[CHAIN_SIZE]);

#endif
