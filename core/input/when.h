/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a waveform is waited for, in words: "rises through 2.5 V", "falls through 300 mV". The
 * level is at the tip; its unit may be left out. And whether a record shows it.
 */
#ifndef GRADUS_CORE_WHEN_H
#define GRADUS_CORE_WHEN_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

/* One level and the way through it. */
struct when {
    bool rising;
    double level; /* tip units */
};

/* Reads the words; `unit` is that of the tip. False with the failure set (FAILURE_SETTINGS). */
bool when_read(const char *text, const char *unit, struct when *when, struct failure *failure);

/*
 * Whether a record passes a level the right way where it was triggered. Own derivation: samples nearer to
 * the level than `error` are on neither side of it. Looked at from a sample near the trigger, the last one
 * before it that is on a side must be on the one that it comes from, and the next one behind it on the
 * other; one of the two may be missing at an end of the record, not both.
 *
 * at      sample at which it was triggered; may lie between two
 * room    samples by which that may be off
 * error   bound on the difference of level and samples, their unit
 */
bool when_shown(const double *samples, size_t count, double at, double room, bool rising,
                double level, double error);

#endif
