/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why a range is chosen at a point, as plain figures and sentences: worked out by explain.c, written
 * as JSON by encode_explain.c. What is borrowed is good until the settings change.
 */
#ifndef GRADUS_DAEMON_EXPLAIN_H
#define GRADUS_DAEMON_EXPLAIN_H

#include "core/range/setups.h"
#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"

enum { EXPLAIN_LINES = 5, EXPLAIN_LINE = 400 };

enum signal_source { SIGNAL_NONE, SIGNAL_EXPECTED, SIGNAL_LAST };

/* What one setup would be worth; figures at the tip, in the signal's unit. */
struct explained_setup {
    struct setup setup;
    bool fits; /* holds the signal */
    double full_scale;
    double resolution;       /* at the input */
    double uncertainty;      /* expanded, of one acquisition; good if it fits */
    double standard;         /* good if it fits */
    double input_resistance; /* ohms; NAN: not known */
    double loading_error;    /* NAN: not known */
    const char *note;        /* NULL: none */
};

/* All that is said about one point. */
struct explanation {
    const struct bench *bench;
    const struct bench_point *point;
    struct probe leads; /* the chain's probe, where its leads were zeroed */
    struct chain chain;
    enum signal_source source;
    struct signal signal; /* input units; meaningless without a source */
    struct setup first;   /* what the planner would begin with */
    struct weighed candidates[SETUPS_MOST];
    size_t count;
    size_t chosen; /* index; `count` when it is not among them */
    double value;  /* at the tip; NAN without a source */
    struct explained_setup setups[SETUPS_MOST];
    char lines[EXPLAIN_LINES][EXPLAIN_LINE]; /* why, in sentences */
    size_t line_count;
};

/* The coverage factor that the instruments weighed against each other are stated with. */
extern const double explain_coverage;

struct service;

/* Works it out for a point of the present bench; false with the failure set. */
bool explain_point(const struct service *service, const struct bench_point *point,
                   struct explanation *explanation, struct failure *failure);

/* encode_explain.c: the result of `explain`. */
void encode_explanation(struct text *text, const struct explanation *explanation);

#endif
