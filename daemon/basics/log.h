/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The daemon's log on standard error: one whole line a message, whatever
 * thread it comes from. Where standard error is the journal, each line says
 * its priority in the form the journal takes ("<4>..."); nowhere else.
 *
 * Measurements go to the clients and the store, not here.
 */
#ifndef GRADUS_DAEMON_LOG_H
#define GRADUS_DAEMON_LOG_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"

#include <stdbool.h>
#include <stdint.h>

/* Priorities as syslog(3) numbers them. */
enum log_priority { LOG_PRIORITY_ERROR = 3, LOG_PRIORITY_WARNING = 4, LOG_PRIORITY_NOTICE = 5 };

/*
 * Writes one line. Control characters in it are replaced, so that nothing an
 * instrument or a client sent can forge a line. Safe from any thread.
 */
void log_line(enum log_priority priority, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Whether JOURNAL_STREAM ("device:inode") names the file behind a descriptor. */
bool log_is_journal(const char *journal_stream, int descriptor);

/* A trouble that goes on: said once, then thinned. Start with {0}. */
struct log_trouble {
    uint64_t count; /* failures since it began; 0: all is well */
    struct moment began;
    struct moment next;    /* when to speak of it again */
    struct duration pause; /* how long it was silent last */
    bool said;             /* whether this one has been spoken of */
    /* Drops that were mended by the first try, as of instruments that close an idle connection. */
    struct duration drop_pause; /* how long they are not spoken of; none: they are */
    struct moment drop_next;    /* when to speak of one again */
    uint64_t drops;             /* not spoken of */
};

/*
 * Logs a failure of `name` at `now`: the first at
 * once, then after one minute, two, four, ... up to an hour, with the count.
 * A link that drops soon after it dropped before is spoken of when the first
 * try does not mend it.
 */
void log_trouble_failed(struct log_trouble *trouble, const char *name,
                        const struct failure *failure, struct moment now);

/*
 * Logs once that the trouble is over, with its length; does nothing when there
 * was none, or it was not spoken of.
 */
void log_trouble_over(struct log_trouble *trouble, const char *name, struct moment now);

#endif
