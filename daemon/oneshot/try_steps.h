/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `gradusd --try` goes through once it may change settings. */
#ifndef GRADUS_DAEMON_TRY_STEPS_H
#define GRADUS_DAEMON_TRY_STEPS_H

#include "drivers/instrument/instrument.h"
#include "try_report.h"

#include <stdbool.h>

/* What the steps work with. All borrowed. */
struct trial {
    const struct profile *profile;
    struct instrument *instrument;
    struct report *report;
};

/*
 * Goes through the whole profile: a meter's functions, ranges and channels, a
 * scope's vertical steps, coupling, offset, position, time base and inputs;
 * one acquisition each, the error queue after it. Ends early, with a problem
 * noted, when the instrument no longer answers.
 */
void try_profile(const struct trial *trial);

/*
 * Asks for the mandatory commands of IEEE 488.2 and SCPI-1999 (4.1.1, 4.2.1),
 * *RST and *TST? among them. The instrument is set up afresh afterwards.
 */
void try_standard(const struct trial *trial);

/* Reads the error queue; what is in it is a problem. */
void try_error_queue(const struct trial *trial);

#endif
