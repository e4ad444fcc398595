/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What one point did over a run, gathered from its rows of the store in the
 * order they were written: figures, verdicts, a course in a bounded number
 * of places, with which instruments and probes, under which limits. Times
 * are plan time (daemon/burnin/burnin_plan.h), which no clock that was set disturbs.
 */
#ifndef GRADUS_DAEMON_POINT_STUDY_H
#define GRADUS_DAEMON_POINT_STUDY_H

#include "burnin_judge.h"
#include "daemon/store/store_row.h"
#include "run_record.h"
#include "track.h"

#include <jansson.h>

enum { STUDY_BUCKETS = 2000, STUDY_USES = 16, STUDY_TEXT = 160 };

/* A figure and the round it is of; round 0: there is none yet. */
struct study_mark {
    double value;
    int64_t round;
};

/* A stretch of rounds, for drawing. */
struct study_bucket {
    int64_t first; /* rounds that something is known of; 0: nothing is */
    int64_t last;
    double minimum; /* with `count` 0 meaningless, as are the two below */
    double maximum;
    double sum;
    int64_t count;
    int64_t failures;
    int64_t lost;
    double average; /* of a check standard's chart, behind the last reading */
};

/* The limits that held in a phase. */
struct study_limits {
    int64_t first; /* rounds; 0: there were none */
    int64_t last;
    struct limits limits;
    double guard; /* width of the guard band of the latest reading, unit of the limits */
};

/* An instrument, probe, settings digest or version, and how many readings it served. */
struct study_use {
    char text[STUDY_TEXT];            /* its name, or all there is */
    char identity[STUDY_TEXT];        /* of an instrument */
    char calibration_due[BENCH_DATE]; /* of an instrument */
    double factor;                    /* of a probe; NAN */
    int64_t readings;
};

struct study_uses {
    struct study_use
        uses[STUDY_USES]; /* in order of their first reading; more are not told apart */
    size_t count;
};

struct point_study {
    const struct run_record *record; /* borrowed */
    char point[BENCH_NAME];
    int unit_number; /* 0: it has none */
    struct bench_drift drift;
    struct burnin_state state;
    struct burnin_outcome trip; /* the outcome that tripped it; round 0: none */
    char quantity[64];
    char unit[PROBE_UNIT];
    double quantum;   /* smallest resolution of a reading at the tip; 0: none */
    int64_t warm;     /* readings in warm-up; all that follows leaves them out */
    int64_t readings; /* with a value */
    bool removed;     /* readings from the time of the run were removed by policy */
    int64_t altered;  /* rows that are not as they were written: in no figure */
    int64_t verdicts[VERDICT_FAIL + 1];
    int64_t causes[BURNIN_CONTROL + 1]; /* failures by what they were for */
    struct study_mark minimum, maximum, first, last, worst;
    double last_uncertainty;
    double uncertainty; /* the largest expanded one; 0: none */
    double mean;
    double squares; /* of deviations from the mean, summed */
    struct track course;
    struct study_limits limits[BURNIN_PHASES];
    struct study_uses instruments, probes, settings, versions;
    struct study_uses reasons; /* why there is no reading */
    size_t bucket_count;
    int64_t rounds; /* that the buckets are laid out for */
    struct study_bucket *buckets;
};

/*
 * Begins the study of a point of a run, for rounds up to `rounds` in so many
 * buckets, 1 to STUDY_BUCKETS. False with the failure set: the run has no
 * such point, or memory is short. End it with point_study_end().
 */
bool point_study_begin(struct point_study *study, const struct run_record *record,
                       const char *point, int64_t rounds, size_t buckets, struct failure *failure);

/* Frees what it holds. */
void point_study_end(struct point_study *study);

/* Takes a row in; `intact` false: it is not what was written. False: memory is short. */
bool point_study_take(struct point_study *study, const struct store_row *row, bool intact);

/* Takes in that nothing could be measured in a round, for a reason (core/basics/failure.h). */
void point_study_miss(struct point_study *study, int64_t round, const char *reason);

/* Writes the study. False with the failure set when memory is short. */
bool point_study_encode(const struct point_study *study, struct text *text,
                        struct failure *failure);

/* The step of the display at the tip that the text of a reading tells; 0: none, or of another unit. */
double burnin_step_in(const json_t *body);

#endif
