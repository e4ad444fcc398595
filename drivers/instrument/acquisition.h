/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One look at an input: what is asked of an instrument, and what was seen. */
#ifndef GRADUS_DRIVERS_ACQUISITION_H
#define GRADUS_DRIVERS_ACQUISITION_H

#include "core/basics/moment.h"
#include "core/basics/quantity.h"
#include "core/input/chain.h"
#include "core/range/plan.h"
#include "core/waveform/waveform.h"

/* What a scope's record waits for: its input passing a level. */
struct trigger {
    bool rising;
    double level;   /* input units, as coupled: what the terminals are to pass */
    double before;  /* seconds of the record that lie before that */
    double wait_ms; /* how long to wait for it at most */
    bool (*ends)(
        const void *context); /* asked now and then: whether to end the wait early; NULL: no */
    const void *context;
    struct moment armed; /* out: from when on the scope was ready for it; {0}: never */
    struct moment until; /* out: until when it surely was; not before `armed`: not at all */
};

/* What is to be acquired. */
struct request {
    enum quantity quantity; /* at the input terminals */
    int input;              /* from 1 */
    struct setup setup;
    double duration;         /* seconds a scope's record should last at least */
    struct trigger *trigger; /* a scope; NULL: the record begins at once */
    bool whole; /* a scope: what looks like periods is none, so figures are of the whole record */
};

/* What one acquisition came to. */
struct acquisition {
    bool overload; /* no value: everything but `side` is meaningless */
    enum side side;
    struct signal signal; /* input units; ground reference not subtracted */
    bool has_waveform;    /* a scope's: `waveform` holds what signal was made from */
    struct waveform waveform;
};

/* A scope's samples, for capture. Free `volts` with free(). */
struct trace {
    double *volts;
    size_t count;
    double interval;
};

#endif
