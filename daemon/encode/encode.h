/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the daemon knows, as JSON: one shape for replies, notifications, the
 * store and the page. Members that do not apply are left out; a figure that
 * is not finite is left out or spoils the text, and never becomes null or 0.
 */
#ifndef GRADUS_DAEMON_ENCODE_H
#define GRADUS_DAEMON_ENCODE_H

#include "core/basics/moment.h"
#include "daemon/basics/json_text.h"
#include "daemon/measure/await.h"
#include "daemon/measure/measure.h"

#include <stdint.h>

/* What belongs to a reading besides the reading. All borrowed. */
struct occasion {
    const struct bench *bench;
    const struct bench_point *point;
    const char *identity; /* of the instrument; empty: not known */
    struct wall_time time;
    uint64_t sequence;
    double frequency;  /* of the signal, hertz; NAN: not known */
    const char *order; /* JSON of the customer's job it belongs to; NULL: of none */
};

enum { ENCODE_TIME_SIZE = 32 };

/* Writes "2026-01-31T23:59:59.999Z". Returns `text`. */
char *encode_time(char text[ENCODE_TIME_SIZE], struct wall_time time);

/* Key and time. */
void encode_wall_time(struct text *text, const char *key, struct wall_time time);

/* The reading object. The reading must hold a value; without one the text is spoilt. */
void encode_reading(struct text *text, const struct occasion *occasion,
                    const struct reading *reading);

/*
 * A reading object that is answered: `reading` with whether it is in the
 * store and, if so, under which id. A warning is put behind its warnings, in
 * which every reading object ends.
 *
 * id       0: it is not there
 * warning  NULL: none
 */
void encode_stored(struct text *text, const struct text *reading, int64_t id, const char *warning);

/*
 * The object for a captured waveform, with at most `most` samples: every
 * n-th of them, and the interval that goes with it.
 */
void encode_capture(struct text *text, const struct occasion *occasion,
                    const struct capture *capture, const struct await *await, size_t most);

/*
 * The data of an error: reason, where, what, expected; and with a point
 * (or NULL) its name, with a reading (or NULL) the steps that led to it.
 */
void encode_failure_data(struct text *text, const struct failure *failure,
                         const struct bench *bench, const struct bench_point *point,
                         const struct reading *reading);

/* The whole error object: code, message, data. */
void encode_error(struct text *text, const struct failure *failure, const struct bench *bench,
                  const struct bench_point *point, const struct reading *reading);

/* One element of `points`; `now` is what the age of its reference is told from. */
void encode_point(struct text *text, const struct bench *bench, const struct bench_point *point,
                  struct wall_time now);

/*
 * The member "resonance", where there is a tuned circuit at the point: what the
 * capacitance at the tip makes of its frequency in this setup, as far as that is known.
 */
void encode_resonance(struct text *text, const struct bench *bench, const struct bench_point *point,
                      const struct setup *setup);

/* The member "limits", if there are any. */
void encode_limits(struct text *text, const struct limits *limits);

/* Members that say how an input is set up; those of a scope only for a scope. */
void encode_setup(struct text *text, const struct front_end *input, const struct setup *setup);

/* "dc", "ac" or "ground". */
const char *coupling_name(enum coupling coupling);

#endif
