/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits in words. Those that differ by phase are long: where points stand in lines they are told once. */
#ifndef GRADUS_TOOLS_REPORT_LIMITS_H
#define GRADUS_TOOLS_REPORT_LIMITS_H

#include "report_words.h"

/* The limits, "4.75 to 5.25 V"; by phase where they differ; "no limits". Returns text. */
char *report_limits(const struct report_point *point, char text[WORDS_SIZE]);

/* The same where there is little room: "by phase, set 1"; "no limits; spans 1.2 mV". Returns text. */
char *report_limits_short(const struct report_point *point, char text[WORDS_SIZE]);

/* Numbers the different limits by phase of the points that are within them. */
void report_number_limits(struct report *report);

/* Calls for each of these sets, as they are numbered. */
void report_limit_sets(const struct report *report,
                       void (*each)(void *context, const char *set, const char *limits),
                       void *context);

#endif
