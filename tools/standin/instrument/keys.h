/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What changes a meter's settings that the other end of the link did not ask for. */
#ifndef STANDIN_KEYS_H
#define STANDIN_KEYS_H

#include "instrument.h"

/*
 * When the fault "key" hits: somebody unlocks the panel of a meter and presses
 * a key, for another function, range or input, or for automatic ranges.
 *
 * One idea in two halves; the other half is instrument.h, whose panel it is.
 */
void keys_pressed(struct instrument *instrument);

/*
 * Before a reading: a meter whose ranges are automatic goes to the smallest
 * that holds it; when the fault "steps_down" hits it goes one down if that
 * holds it, though nobody told it to.
 */
void keys_step(struct instrument *instrument, const struct tie *tie, double now);

#endif
