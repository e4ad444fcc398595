/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The loop thread's rounds, and how long it works in each. */
#include "daemon/basics/thread.h"
#include "loop.h"

#include <event2/event.h>

static void note(struct loop_stretches *stretches, struct duration worked)
{
    static const struct duration most = { LOOP_STRETCH_MS * MILLISECOND_NS };
    stretches->count++;
    stretches->all.ns += worked.ns;
    stretches->long_ones += duration_shorter(most, worked);
    if (duration_shorter(stretches->longest, worked))
        stretches->longest = worked;
}

void loop_stretch_end(struct loop *loop)
{
    struct duration now = thread_worked();
    note(&loop->stretches, (struct duration) { now.ns - loop->stretches.begun.ns });
    loop->stretches.begun = now;
}

void loop_run(struct loop *loop)
{
    loop->stretches.begun = thread_worked();
    while (event_base_loop(loop->base, EVLOOP_ONCE) == 0 && !event_base_got_break(loop->base))
        loop_stretch_end(loop);
}
