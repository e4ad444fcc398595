/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a thread still gets on: it says by when it will be through with what it begins, and the
 * loop thread looks. One that waits for work is never late.
 */
#ifndef GRADUS_DAEMON_PROGRESS_H
#define GRADUS_DAEMON_PROGRESS_H

#include "core/basics/moment.h"

#include <stdatomic.h>

/* Start with {0}: waiting for work. */
struct progress {
    _Atomic int64_t due; /* moment by which it will be through; 0: it waits */
};

/* The thread begins something, and will be through with it by `due`. */
static inline void progress_begin(struct progress *progress, struct moment due)
{
    atomic_store_explicit(&progress->due, due.ns, memory_order_relaxed);
}

/* The thread is through, and waits. */
static inline void progress_end(struct progress *progress)
{
    atomic_store_explicit(&progress->due, 0, memory_order_relaxed);
}

/* From any thread: whether that one should have been through by `now`. */
static inline bool progress_is_late(struct progress *progress, struct moment now)
{
    const struct moment due = { atomic_load_explicit(&progress->due, memory_order_relaxed) };
    return moment_is_set(due) && moment_before(due, now);
}

#endif
