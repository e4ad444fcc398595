/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Raw text to an instrument and its raw reply, for administrators. */
#ifndef GRADUS_DAEMON_TALK_H
#define GRADUS_DAEMON_TALK_H

#include "job.h"

/*
 * Carries out a JOB_TALK on the thread that owns the instrument: sends the
 * command, and fills in the reply where one is wanted, or the failure in
 * capture.reading. What was set may have changed, so that the instrument is
 * identified and set up afresh before the next reading.
 */
void talk(struct instrument *instrument, struct job *job);

#endif
