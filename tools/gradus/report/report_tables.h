/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a report lists: what was measured with, and what happened. The same in every form. */
#ifndef GRADUS_TOOLS_REPORT_TABLES_H
#define GRADUS_TOOLS_REPORT_TABLES_H

#include "report_words.h"

/* An instrument, an input card, a probe, settings or a version that readings were taken with. */
struct report_use {
    const char *kind; /* "instrument", "input card", "probe", "settings", "software" */
    const char *name;
    const char *identity; /* of an instrument; "" */
    const char *due;      /* its calibration; "" */
    double factor;        /* of a probe; NAN */
    bool expired;         /* the calibration was over before the last reading */
};

/* Calls for each that differs from those before. */
void report_uses(const struct report *report,
                 void (*each)(void *context, const struct report_use *use), void *context);

/* The identity of an instrument, the factor of a probe; "" else. Returns text. */
char *report_use_detail(const struct report_use *use, char text[WORDS_SIZE]);

/* The date, and loudly that it has passed; "" where there is none. */
char *report_use_calibration(const struct report_use *use, char text[WORDS_SIZE]);

/* Calls for each fact that the run's job says: whose units they are, who measures. */
void report_job(const struct report *report,
                void (*each)(void *context, const char *what, const char *text), void *context);

/*
 * Calls for each sentence that a reader must see before any figure: calibrations
 * that have expired, instruments that drift, rows that were altered, gaps, rounds that were late or were
 * not held, clocks that were set.
 */
void report_warnings(const struct report *report, void (*each)(void *context, const char *sentence),
                     void *context);

/* Most events of one kind that are listed one by one. */
enum { REPORT_EVENTS_MOST = 200 };

/*
 * Calls for each event of the run that is worth a line, oldest first, with a
 * detail in words; of those of one kind beyond REPORT_EVENTS_MOST the number.
 */
void report_happenings(const struct report *report,
                       void (*each)(void *context, const char *time, const char *kind,
                                    const char *detail),
                       void *context);

#endif
