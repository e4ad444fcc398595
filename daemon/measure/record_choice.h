/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which of the records that a scope's time base offers suits a signal. */
#ifndef GRADUS_DAEMON_RECORD_CHOICE_H
#define GRADUS_DAEMON_RECORD_CHOICE_H

#include "core/waveform/waveform.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>

/* The record for a signal of `frequency` (hertz, > 0), seconds: see timebase_choose(). NAN for a NAN. */
double record_for(const struct scope *scope, enum aspect aspect, double frequency);

/* Whether the record that `wanted` seconds come to has the periods and samples that the aspect needs. */
bool record_suits(const struct scope *scope, enum aspect aspect, double frequency, double wanted);

/* Whether two wanted durations, seconds, come to the same record of the time base. */
bool record_same(const struct scope *scope, double one, double other);

/* Whether a record shows a signal of about this frequency, hertz. */
bool record_shows(const struct waveform *waveform, double frequency);

#endif
