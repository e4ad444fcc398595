/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One piece of a reply as a worker takes it from the port's stream. A worker
 * may be called off amid one and go on later, so it fills step by step.
 */
#ifndef STANDIN_RECORD_H
#define STANDIN_RECORD_H

#include "tools/standin/basics/mark.h"
#include "worker.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* All zero: none has begun. */
struct record {
    struct mark mark;
    size_t marked; /* bytes of the mark that are here */
    uint8_t *bytes;
    size_t count; /* bytes that are here; all of them when it equals mark.count */
    size_t sent;
    bool dropped;     /* nobody wants the rest */
    uint32_t void_to; /* answers to commands up to this one are void; kept by record_clear() */
};

/* In a worker: waits for a whole record that is not void; false when called off or the stream ended. */
bool record_fill(struct record *record, const struct worker *worker, int stream);

/* The same, whether it is void or not. */
bool record_fill_any(struct record *record, const struct worker *worker, int stream);

/* Frees it; the next one may begin. */
void record_clear(struct record *record);

/* Whether bytes of a record are here or wait in the stream. */
bool record_waits(const struct record *record, int stream);

#endif
