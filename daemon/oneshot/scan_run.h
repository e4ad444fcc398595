/* SPDX-License-Identifier: GPL-3.0-or-later */
/* `gradusd --scan`: what is plugged in, who answers there, and how to write it into the settings. */
#ifndef GRADUS_DAEMON_SCAN_RUN_H
#define GRADUS_DAEMON_SCAN_RUN_H

/*
 * Lists what is plugged in; `argv` is what follows --scan on the command line.
 * Only what the user names is asked for its identity. Needs no daemon, and
 * leaves alone what one has open. Returns the exit status: 0 when all who were
 * asked answered, 2 for usage, 3 when one did not answer or nothing can be
 * listed.
 */
int scan_run(int argc, char **argv);

#endif
