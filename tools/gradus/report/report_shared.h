/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What moves because the instrument does. Where most of what an instrument or
 * a probe measures moves alike, and what others measure does not, or the check standard moves too, that
 * is one finding, told as the instrument's with its points as evidence: sixteen units do not drift in
 * step by themselves.
 */
#ifndef GRADUS_TOOLS_REPORT_SHARED_H
#define GRADUS_TOOLS_REPORT_SHARED_H

#include "report.h"

/* Marks in each point what it moves with; once all points are in. */
void report_share(struct report *report);

/* Calls for each instrument or probe that points move with, with a sentence about it. */
void report_shared(const struct report *report, void (*each)(void *context, const char *sentence),
                   void *context);

#endif
