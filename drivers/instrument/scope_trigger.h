/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope that waits: its record begins when an input passes a level, with
 * some of what was before. Setting it so, proving it, waiting, and the way back.
 */
#ifndef GRADUS_DRIVERS_SCOPE_TRIGGER_H
#define GRADUS_DRIVERS_SCOPE_TRIGGER_H

#include "acquisition.h"
#include "panel.h"
#include "proof.h"

/* Fills in what the command texts of a trigger may speak of; nothing where none is wanted. */
void trigger_fill(const struct trigger *trigger, const struct scope *scope,
                  const struct setup *setup, struct command_values *values);

/*
 * Makes the next start wait for the trigger, or, with NULL, begin at once. A
 * profile that knows no triggers has nothing to send.
 */
bool trigger_set(struct panel *panel, const struct scope *scope, const struct trigger *trigger,
                 const struct command_values *values, bool *changed, struct deadline deadline,
                 struct failure *failure);

/*
 * Adds the questions that prove what the trigger is; NULL adds none. Fails as scope_proof_make(), and
 * with FAILURE_UNSUPPORTED where the profile knows no triggers.
 */
bool trigger_prove(struct proof *proof, const struct profile *profile,
                   const struct trigger *trigger, const struct setup *setup,
                   const struct command_values *values, struct failure *failure);

/*
 * Waits for the trigger and the record behind it. Where none comes in time the wait is ended at
 * the scope, and it fails with FAILURE_NO_TRIGGER, the dialogue in step. When it was
 * ready and until when is noted in the trigger either way.
 *
 * patience_ms  longest time from the trigger to the whole record
 */
bool trigger_wait(struct panel *panel, const struct scope *scope, struct trigger *trigger,
                  double patience_ms, struct deadline deadline, struct failure *failure);

#endif
