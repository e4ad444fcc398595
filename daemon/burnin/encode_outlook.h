/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a point is going, as JSON: the members `trend` and `finding`. */
#ifndef GRADUS_DAEMON_ENCODE_OUTLOOK_H
#define GRADUS_DAEMON_ENCODE_OUTLOOK_H

#include "core/course/outlook.h"
#include "daemon/basics/json_text.h"

#include <stdint.h>

/* Nanoseconds of one hour, the unit of time that courses are looked at in. */
extern const double outlook_hour;

/*
 * The member `trend`, if there is one: slope an hour, where it settles, and when which limit is met.
 * Times of the outlook are hours since `origin`, nanoseconds since 1970.
 */
void encode_trend(struct text *text, const struct outlook *outlook, int64_t origin);

#endif
