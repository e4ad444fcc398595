/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plan_time.h"

#include "daemon/encode/encode.h"

void encode_plan_time(struct text *text, const char *key, struct plan_time time)
{
    encode_wall_time(text, key, plan_time_shown(time));
}
