/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A burn-in as it is reported: what the daemon told of the run and of each
 * point, put in order. Times are seconds since 1970, UTC, in plan time.
 */
#ifndef GRADUS_TOOLS_REPORT_H
#define GRADUS_TOOLS_REPORT_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

enum { REPORT_LABEL = 64, REPORT_BUCKETS = 240 };

/* How a point or unit did, worst first. */
enum report_class {
    REPORT_FAILED,  /* it failed or tripped */
    REPORT_WATCH,   /* it did not fail, but something is to be looked at */
    REPORT_UNKNOWN, /* there is no reading */
    REPORT_WELL
};

/* A stretch of the run. */
struct report_bucket {
    double from;
    double to;
    double minimum; /* NAN: there is no reading in it */
    double maximum;
    double mean;
    double count; /* readings in it */
    bool failed;
    bool lost;
    double average; /* of a control chart, at its end; NAN: there is none */
};

struct report_point {
    json_t *study;    /* the daemon's, without its history; owned */
    const char *name; /* borrowed from it */
    int unit;         /* index into report.units */
    enum report_class class;
    bool undecided;     /* within the uncertainty of a limit, and not beyond it */
    int digits;         /* that uncertainties are written with */
    double worst;       /* margin, 1 in the middle, 0 at the limit; NAN: none */
    bool dead;          /* it reads next to nothing where limits ask for much */
    size_t limit_set;   /* among limits that differ by phase, from 1; 0: they do not */
    const char *card;   /* input card that it was measured through; NULL: not known; borrowed */
    const char *shared; /* instrument, card or probe that it moves with; NULL: none; borrowed */
    const char *shared_kind; /* which of these that is */
    struct report_bucket *buckets;
    size_t bucket_count;
};

struct report_unit {
    int number;               /* 0: a point that is of no unit */
    char label[REPORT_LABEL]; /* its number, or the name of that point */
    enum report_class class;
    double worst;
    size_t points;
    bool dead; /* one of its points is */
    int place; /* in the order of the plan */
};

struct report {
    char run[REPORT_LABEL];
    int digits;                  /* that uncertainties are written with, 1 or 2 */
    json_t *events;              /* all of the run, oldest first; owned */
    const json_t *began;         /* body of the first; borrowed */
    const json_t *ended;         /* body of "run ended"; NULL: it goes on */
    double made;                 /* when the report was made */
    double first;                /* when round 1 was due */
    double every;                /* seconds */
    double warm_until;           /* end of the warm-up */
    double last;                 /* the latest round that is known of */
    struct report_point *points; /* failures first, then by unit and name */
    size_t point_count;
    struct report_unit *units; /* by number; once sorted */
    size_t unit_count;
    size_t limit_sets; /* how many different limits by phase there are, once sorted */
};

/*
 * Begins a report of the events of a run, an array that is taken over. Space
 * for as many points as the run has is made; `digits` are those of uncertainties. False when the events do not
 * begin with one of a run that began. End it with report_end() either way.
 */
bool report_begin(struct report *report, json_t *events, int digits);

/* Frees what it holds. */
void report_end(struct report *report);

/* The name of the point at an index of the run's own order; NULL behind the last. */
const char *report_name(const struct report *report, size_t index);

/* Takes the study of a point over. False when it is none. */
bool report_add(struct report *report, json_t *study);

/* Sorts, once all points are in. */
void report_sort(struct report *report);

/* How many points, and how many units, are of a class. */
size_t report_points(const struct report *report, enum report_class class);
size_t report_units(const struct report *report, enum report_class class);

/* Whether a point is told in one line: it is well, and no check standard, whose chart is shown. */
bool report_is_line(const struct report_point *point);

/* How many of these there are. */
size_t report_lines(const struct report *report);

/* The point of a unit that did worst: by class, then by margin; its index. */
size_t report_worst_of(const struct report *report, size_t unit);

/* What it all comes to: the worst exit status (status.h) of its points. */
int report_status(const struct report *report);

/* Events of a kind: calls for each, oldest first, with its time as a text. */
void report_each(const struct report *report, const char *kind,
                 void (*each)(void *context, const char *time, const json_t *body), void *context);

/*
 * Joins neighbours until there are at most `most`, or none are left that are not more than
 * `pause` seconds apart: a gap stays one. Returns how many there are then.
 */
size_t report_coarsen(struct report_bucket *buckets, size_t count, size_t most, double pause);

/* Moments as the daemon writes them; NAN when it is none. */
double report_time(const char *text);

#endif
