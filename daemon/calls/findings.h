/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the methods that judge have come to, as plain figures: worked out by the calls_*.c, written
 * by encode_findings, so that whoever shows it another way need not work it out again. Borrowed
 * parts are good until the call is answered.
 */
#ifndef GRADUS_DAEMON_FINDINGS_H
#define GRADUS_DAEMON_FINDINGS_H

#include "core/diagnosis/diagnosis.h"
#include "core/input/compensation.h"
#include "core/input/two_load.h"
#include "core/uncertainty/relative.h"
#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"

/* Whether two instruments agree. */
struct agreement_finding {
    double en; /* up to 1 they agree */
    bool agree;
    double correlation;
    struct comparison difference;
    const char *unit;
    const struct text *readings[2]; /* each as it is answered: a reading is written out once */
};

/* What a place shows without a load; expanded uncertainties. */
struct unload_finding {
    struct unloaded unloaded;
    double coverage;
    double uncertainty;
    double resistance_uncertainty;
    struct loaded_reading loads[2];
};

/* Whether a probe is compensated. */
struct compensation_finding {
    const char *point;
    const char *probe;
    struct compensation found;
    double ratio_uncertainty; /* expanded */
    double frequency;         /* where the amplitude error was asked for; NAN: nowhere */
    double amplitude_error;
};

/* The zero of a point's leads. */
struct zero_finding {
    const char *point;
    const char *probe;
    const char *instrument;
    int input;
    double value;
    const char *unit;
    double uncertainty; /* expanded */
    double standard;
    double coverage;
    double holds_s;
};

/* Where to probe next on a board. */
struct board_finding {
    const struct bench_sheet *sheet;
    enum diagnosis_state state;
    /* Only while it goes on, and of a contradiction: */
    const char *point;
    const char *block;
    const struct bench_place *place;
    double probability_bad; /* that the next one is bad */
    /* What may be faulty, the likeliest first. */
    size_t suspects;
    const char *suspect[BLOCK_SET_MAX];
    double probability[BLOCK_SET_MAX];
};

#endif
