/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One instrument, whatever its kind: given what to measure and how to set
 * the input up, it makes one acquisition and says what was seen there, or
 * that it was overloaded. It remembers what is set, sends only what differs,
 * and sets everything afresh when the dialogue says it may have been lost.
 *
 * Used by one thread. What it hands up is re-checked above (daemon/measure).
 */
#ifndef GRADUS_DRIVERS_INSTRUMENT_H
#define GRADUS_DRIVERS_INSTRUMENT_H

#include "../core/chain.h"
#include "../core/plan.h"
#include "../core/waveform.h"
#include "dialogue.h"
#include "profile.h"

struct instrument;

/* What is to be acquired. */
struct request {
    enum quantity quantity; /* at the input terminals */
    int input;              /* from 1 */
    struct setup setup;
    double duration; /* seconds a scope's record should last at least */
};

/* What one acquisition came to. */
struct acquisition {
    bool overload; /* no value: everything but `side` is meaningless */
    enum side side;
    struct signal signal; /* input units; ground reference not subtracted */
    bool has_waveform;    /* a scope's: `waveform` holds what signal was made from */
    struct waveform waveform;
};

/* A scope's samples, for capture. Free `volts` with free(). */
struct trace {
    double *volts;
    size_t count;
    double interval;
};

/*
 * An instrument that is not connected yet. `profile` is borrowed and must
 * outlive it; `spec` and `name` are copied. NULL when memory is short.
 */
struct instrument *instrument_new(const struct profile *profile, const struct link_spec *spec,
                                  const char *name);

/* Closes without a word to the instrument; see instrument_release(). Accepts NULL. */
void instrument_free(struct instrument *instrument);

/* Connects, identifies, and sends the profile's set-up if that has not been done. */
bool instrument_ready(struct instrument *instrument, struct deadline deadline,
                      struct failure *failure);

/*
 * Makes one acquisition. False with the failure set when nothing can be said
 * about the input: link trouble, no value, vertical scale not calibrated.
 * Overload is no failure. `trace` may be NULL; it is filled for scopes only.
 */
bool instrument_acquire(struct instrument *instrument, const struct request *request,
                        struct deadline deadline, struct acquisition *acquisition,
                        struct trace *trace, struct failure *failure);

/*
 * Level of the zero trace at this range and position: the input grounded,
 * the offset at zero. Input units; taken again when it is older than the
 * instrument's warm-up allows or the range or position changed.
 */
bool instrument_ground(struct instrument *instrument, const struct request *request,
                       struct deadline deadline, double *level, struct failure *failure);

/* Leaves the instrument in local and closes the link. */
void instrument_release(struct instrument *instrument, struct deadline deadline);

/* The dialogue, for counters and identity. */
struct dialogue *instrument_dialogue(struct instrument *instrument);

#endif
