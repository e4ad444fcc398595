/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a point is going, as JSON: the members `trend` and `finding`. */
#ifndef GRADUS_DAEMON_ENCODE_OUTLOOK_H
#define GRADUS_DAEMON_ENCODE_OUTLOOK_H

#include "core/course/outlook.h"
#include "daemon/basics/json_text.h"
#include "plan_time.h"

/*
 * The member `trend`, if there is one: slope an hour, where it settles, and when which limit is met.
 * Times of the outlook are hours since `origin`.
 */
void encode_trend(struct text *text, const struct outlook *outlook, struct plan_time origin);

#endif
