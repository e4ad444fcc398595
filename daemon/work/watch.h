/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether an instrument is still there, and how it is brought back. While its
 * worker has nothing else to do and the link is open, the link is asked
 * several times a second, without a byte to the instrument. One that is away
 * is tried again by itself after one second, two, four, ... up to ten, and
 * believed only once it has said who it is and taken its settings. An
 * instrument nobody has asked for is never opened.
 *
 * The worker's thread alone uses this.
 */
#ifndef GRADUS_DAEMON_WATCH_H
#define GRADUS_DAEMON_WATCH_H

#include "drivers/instrument/instrument.h"

#include <stdint.h>

/* Make it with watch_begin(). */
struct watch {
    struct instrument *instrument; /* borrowed */
    double identify_ms;            /* longest try at identifying it again */
    bool away;                     /* it could not be reached, or has been unplugged */
    struct moment next;            /* when watch_look() is due; {0}: never */
    struct duration pause;         /* before the next try */
    struct moment refused_at;      /* when the last try on behalf of a job began ... */
    struct failure refusal;        /* ... and what it came to */
};

/* Starts to watch an instrument that is not open yet; `protocol` is its profile's. */
struct watch watch_begin(struct instrument *instrument, const struct protocol *protocol);

/*
 * Before a job: whether the instrument can be reached. One that is away is
 * tried in a short time instead of the job's whole one, and what that came to
 * goes for all jobs that were asked for before the try.
 *
 * asked     when the job was handed over
 * deadline  of the job
 */
bool watch_reach(struct watch *watch, struct moment asked, struct deadline deadline,
                 struct failure *failure);

/* After a job: takes note of how it ended. */
void watch_after(struct watch *watch, const struct failure *outcome);

/*
 * Looks, which is due at `watch->next`. True when there is something to tell:
 * the failure says why the instrument is away, or holds none when it is back.
 */
bool watch_look(struct watch *watch, struct failure *failure);

#endif
