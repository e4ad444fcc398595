/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gradus burnin report. */
#ifndef GRADUS_TOOLS_BURNIN_REPORT_H
#define GRADUS_TOOLS_BURNIN_REPORT_H

#include "tools/gradus/answers/command.h"

/*
 * Reports the run that the second operand names, in the forms that the options
 * ask for; a summary for people without any. Returns the exit status: that of
 * the units.
 */
int burnin_report(const struct session *session);

#endif
