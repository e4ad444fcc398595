/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One look at an input: what is asked of an instrument, and what was seen. */
#ifndef GRADUS_DRIVERS_ACQUISITION_H
#define GRADUS_DRIVERS_ACQUISITION_H

#include "core/basics/quantity.h"
#include "core/input/chain.h"
#include "core/range/plan.h"
#include "core/waveform/waveform.h"

/* What is to be acquired. */
struct request {
    enum quantity quantity; /* at the input terminals */
    int input;              /* from 1 */
    struct setup setup;
    double duration; /* seconds a scope's record should last at least */
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
