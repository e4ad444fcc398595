/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One instrument, whatever its kind: given what to measure and how to set
 * the input up, it makes one acquisition and says what was seen there, or
 * that it was overloaded. It remembers what is set, sends only what differs,
 * and sets everything afresh when the dialogue says it may have been lost.
 *
 * Used by one thread. What it hands up is re-checked above (daemon/measure/measure).
 */
#ifndef GRADUS_DRIVERS_INSTRUMENT_H
#define GRADUS_DRIVERS_INSTRUMENT_H

#include "acquisition.h"
#include "drivers/dialogue/dialogue.h"
#include "drivers/profile/profile.h"

struct instrument;

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
 * One acquisition of two inputs of a scope, recorded together. `traces` are filled and replaced as by
 * instrument_acquire(), an overloaded one too. False as there.
 *
 * requests  of two different inputs, with one duration
 * overload  out: whether either was
 */
bool instrument_acquire_pair(struct instrument *instrument, const struct request requests[2],
                             struct deadline deadline, struct trace traces[2], bool *overload,
                             struct failure *failure);

/*
 * The zero trace at this range and position, its level the mean: the input
 * grounded, the offset at zero. Input units. Taken again when it is older than the
 * instrument's warm-up allows, when range or position changed, when any
 * acquisition failed since (a knob was turned, the link was opened anew), and
 * each time where the scope cannot be asked for what the trace rests on.
 */
bool instrument_ground(struct instrument *instrument, const struct request *request,
                       struct deadline deadline, struct signal *zero, struct failure *failure);

/*
 * Makes sure, behind the last acquisition of a measurement, that it was this
 * instrument that answered; see dialogue_confirm().
 */
bool instrument_confirm(struct instrument *instrument, struct deadline deadline,
                        struct failure *failure);

/* Leaves the instrument in local and closes the link. */
void instrument_release(struct instrument *instrument, struct deadline deadline);

/*
 * Opens the link if it is closed, and does no more than that; see
 * dialogue_connect().
 */
bool instrument_connect(struct instrument *instrument, struct deadline deadline,
                        struct failure *failure);

/* Whether it is still plugged in, as far as that shows without talking; see dialogue_present(). */
bool instrument_present(struct instrument *instrument, struct failure *failure);

/* The dialogue, for counters and identity. */
struct dialogue *instrument_dialogue(struct instrument *instrument);

#endif
