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

/* What keys_back() puts back. */
struct keys_before {
    struct meter meter;
    struct scope scope;
};

/*
 * For one reading or record, when the fault "there_and_back" hits: a setting
 * drawn at random is changed by hand. Returns whether it was; `before` then
 * holds what stood there.
 */
bool keys_there(struct instrument *instrument, struct keys_before *before);

/* Puts a setting back that keys_there() changed, by hand again. */
void keys_back(struct instrument *instrument, const struct keys_before *before);

/* Somebody turned a knob of a scope, or pressed a key: the instrument can tell. */
void keys_note(struct instrument *instrument);

/*
 * Before a reading: a meter whose ranges are automatic goes to the smallest
 * that holds it; when the fault "steps_down" hits it goes one down if that
 * holds it, though nobody told it to.
 */
void keys_step(struct instrument *instrument, const struct tie *tie, double now);

#endif
