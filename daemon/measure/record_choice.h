/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which of the records that a scope's time base offers suits a signal. */
#ifndef GRADUS_DAEMON_RECORD_CHOICE_H
#define GRADUS_DAEMON_RECORD_CHOICE_H

#include "core/waveform/timebase.h"
#include "core/waveform/waveform.h"
#include "drivers/instrument/acquisition.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>

/* The record for a signal of `frequency` (hertz, > 0), seconds: see timebase_choose(). NAN for a NAN. */
double record_for(const struct scope *scope, const struct timebase_need *need, double frequency);

/* Whether the record that `wanted` seconds come to has the periods and samples that are needed. */
bool record_suits(const struct scope *scope, const struct timebase_need *need, double frequency,
                  double wanted);

/* Whether two wanted durations, seconds, come to the same record of the time base. */
bool record_same(const struct scope *scope, double one, double other);

/*
 * Whether a record shows a swing that is not noise, and no whole period of it: it was too short, or there
 * is none. For an average a swing of a twentieth of what the setup shows is little; the extremes are all swing.
 */
bool record_too_short(const struct acquisition *seen, const struct chain *chain,
                      const struct setup *setup);

/*
 * The next record to look for a period in, where one was too short: ten times as long, seconds.
 * NAN where the time base has none, or it takes more than a tenth of the time `left`, seconds.
 */
double record_longer(const struct scope *scope, double wanted, double left);

/* Whether a record shows a signal of about this frequency, hertz. */
bool record_shows(const struct waveform *waveform, double frequency);

#endif
