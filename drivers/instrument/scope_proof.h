/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Proving what a scope's record rests on: scale, offset, position, coupling,
 * time base, and what the profile names besides. People turn knobs, so it is
 * asked before each record and again behind it; a setting that is not the one
 * that was set means that the record is of something else.
 */
#ifndef GRADUS_DRIVERS_SCOPE_PROOF_H
#define GRADUS_DRIVERS_SCOPE_PROOF_H

#include "acquisition.h"
#include "panel.h"
#include "proof.h"

/*
 * The questions for everything that the profile has a query for. They fail with
 * FAILURE_CHANGED when a setting is another one, and with FAILURE_NOT_CALIBRATED
 * when the variable control is in use.
 *
 * values  what was set, as the commands were filled in
 * told    the setup with offset and position as the scope has them, once it was
 *         asked: it may have rounded what was sent, by half a step of its
 *         converter at most. The range's resolution is that step.
 *
 * False with the failure set when a text cannot be filled in.
 */
bool scope_proof_make(struct proof *proof, const struct profile *profile,
                      const struct request *request, const struct command_values *values,
                      struct setup *told, struct failure *failure);

/* Whether the scope can be asked for everything that its zero trace rests on. */
bool scope_proves_zero(const struct scope *scope);

/* Forgets what the scope cannot be asked for, so that it is sent again with each record. */
void scope_forget_unproved(struct panel *panel, const struct scope *scope, int input);

#endif
