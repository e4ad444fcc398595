/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of the store as it writes and verifies them, and the bytes of
 * them that its chain of digests covers. All pointers are borrowed.
 */
#ifndef GRADUS_DAEMON_STORE_ROW_H
#define GRADUS_DAEMON_STORE_ROW_H

#include "core/basics/moment.h"
#include "store_chain.h"

#include <stdint.h>

/* A reading, or a measurement that came to none; texts that do not apply are NULL. */
struct store_row {
    int64_t id;
    const char *point;
    const char *time;    /* ISO 8601, UTC */
    struct wall_time at; /* the same */
    int64_t sequence;
    double value; /* NAN: there is none */
    double uncertainty;
    const char *unit;
    const char *verdict;
    const char *reason; /* why there is no value */
    const char *run;
    int64_t round;
    const char *body; /* the reading or error as on the wire, JSON */
    const char *settings_digest;
    const char *instrument;
    const char *identity;
    const char *calibration_due;
    const char *version; /* of this software */
};

/*
 * Something else that belongs into the chain. `kind` is "run began", "run
 * ended", "summary" (of what was down-sampled) or "pruned" (what was removed).
 */
struct store_event {
    int64_t id;
    const char *time;
    struct wall_time at;
    const char *kind;
    const char *subject; /* name of the run, or of the point; else NULL */
    int64_t first;       /* rows it is about; 0: none */
    int64_t last;
    const uint8_t *after; /* "pruned": digest of the last row removed; else NULL */
    const char *body;     /* JSON text or NULL */
};

/* How a store began. */
struct store_origin {
    const char *time;
    const char *follows; /* name of the damaged file that it takes the place of, or NULL */
};

/* Write the digest of a row that comes after the one with digest `before`. */
void store_row_digest(const struct store_row *row, const uint8_t before[CHAIN_SIZE],
                      uint8_t digest[CHAIN_SIZE]);
void store_event_digest(const struct store_event *event, const uint8_t before[CHAIN_SIZE],
                        uint8_t digest[CHAIN_SIZE]);

/* Writes the digest that the first row comes after. */
void store_origin_digest(const struct store_origin *origin, uint8_t digest[CHAIN_SIZE]);

#endif
