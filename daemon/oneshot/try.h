/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Running a profile against the instrument it was written for: every exchange
 * is shown with its time, and what the profile gets wrong is listed. The
 * instrument is driven by the same code that measures with it later.
 */
#ifndef GRADUS_DAEMON_TRY_H
#define GRADUS_DAEMON_TRY_H

/*
 * Carries out `gradusd --try`. Without --yes it only identifies the
 * instrument and reads its error queue.
 *
 * argv  PROFILE LINK [--yes] [--standard] [--baud N] [--framing 8N1]
 *       [--flow none|rts/cts|xon/xoff] [--help]; options anywhere
 * Returns the exit status: 0 no problems, 1 problems, 2 usage or a mistake in
 * the profile, 3 no instrument.
 */
int try_run(int argc, char **argv);

#endif
