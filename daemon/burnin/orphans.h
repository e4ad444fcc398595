/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Processes that a command has left behind in a session of their own, out of reach of a signal to
 * its group: they come to this process, as their subreaper (prctl(2)), when their parent ends.
 */
#ifndef GRADUS_DAEMON_ORPHANS_H
#define GRADUS_DAEMON_ORPHANS_H

/* From now on they come here. */
void orphans_adopt(void);

/*
 * Ends every child of this process, and what comes to it by that. Only while no command runs, for
 * then no child is anything else.
 */
void orphans_end(void);

#endif
