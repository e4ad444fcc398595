/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "watched.h"

#include <math.h>

struct watched watched_begin(double now)
{
    return (struct watched) { .before = now, .last = now };
}

void watched_look(struct watched *watched, double now)
{
    watched->longest = fmax(watched->longest, now - watched->before);
    watched->before = watched->last;
    watched->last = now;
    watched->looks++;
}

double watched_sure(const struct watched *watched, double now)
{
    return fmax(watched->longest, now - watched->before);
}
