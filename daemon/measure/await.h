/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A waveform that is waited for: the scope is set so that it shows both the signal as it is and the
 * level, armed, and what comes is taken only if its record shows what was waited for.
 */
#ifndef GRADUS_DAEMON_AWAIT_H
#define GRADUS_DAEMON_AWAIT_H

#include "core/input/when.h"
#include "measure.h"

/* What is waited for and how. */
struct await {
    bool given;
    struct when when;
    double before; /* seconds of the record before it; NAN: a fifth of it */
    double after;  /* seconds behind it, at least; NAN: what the record's length leaves */
    double wait;   /* seconds */
    /* Out. */
    double at;      /* seconds from the first sample to the trigger */
    double watched; /* seconds in which the scope was surely ready for it */
    double waited;  /* seconds from when it was armed first */
};

/*
 * As measure_capture(), of a record that waits. Fails with FAILURE_NO_TRIGGER where nothing came, with
 * FAILURE_UNSUPPORTED where the scope's profile has no trigger, and with FAILURE_OVER_RANGE
 * where level or signal are beyond what the scope shows. The scope is then idle.
 */
bool measure_await(struct instrument *instrument, const struct bench *bench,
                   const struct bench_point *point, double duration, struct deadline deadline,
                   const struct courtesy *courtesy, struct await *await, struct capture *capture);

#endif
