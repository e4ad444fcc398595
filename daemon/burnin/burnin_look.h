/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How the runs are doing, as plain figures, a row at a time: burnin_status
 * writes them as JSON, and whoever shows them another way need not look again.
 * Hundreds of points take time, above all for where their courses are going;
 * so a walk may rest between any two rows, whatever becomes of the runs
 * meanwhile. What a row borrows is good until the loop goes on.
 */
#ifndef GRADUS_DAEMON_BURNIN_LOOK_H
#define GRADUS_DAEMON_BURNIN_LOOK_H

#include "burnin.h"
#include "burnin_run.h"

/* A run. */
struct run_look {
    const struct burnin_run *run; /* counters, times and plan of it */
    struct plan_time end;
    int64_t rounds; /* of the whole run */
    /* Only of one that goes on: */
    const char *phase;
    bool warm_up;
    struct duration left; /* until its end; not negative */
    int64_t next;         /* round that is due next; 0: none is */
    struct plan_time next_due;
    struct duration next_in; /* not negative */
};

/* A point of a run. */
struct slot_look {
    const struct bench_point *point;
    const struct burnin_state *figures;
    /* "waiting", "within limits", "failing", "not measured", "stopped", "tripped" */
    const char *state;
    struct plan_time tripped;      /* when the round was due; good if it has tripped */
    const struct outlook *outlook; /* where it is going; NULL: nothing of its course is known */
    struct plan_time origin;       /* that the outlook's times are counted from */
};

/* A run, then its points in the plan's order, then the end of it. */
enum burnin_row_kind { BURNIN_ROW_RUN, BURNIN_ROW_POINT, BURNIN_ROW_END };

struct burnin_row {
    enum burnin_row_kind kind;
    struct run_look run;   /* BURNIN_ROW_RUN */
    struct slot_look slot; /* BURNIN_ROW_POINT */
};

/* Where a walk is; for burnin_walk_begin() and burnin_walk_next() alone. */
struct burnin_walk {
    uint64_t run;  /* number of the run that the next row is of, or that comes after */
    uint64_t last; /* number of the last run of the walk */
    size_t slot;   /* of the next row */
    bool inside;   /* the run has had its first row, and not its last */
};

/*
 * Begins a walk through a run, by its name or by its plan's, or with NULL
 * through all, oldest first. False with the failure set when there is no such run.
 */
bool burnin_walk_begin(struct burnin *burnin, const char *run, struct burnin_walk *walk,
                       struct failure *failure);

/* The next row; false when there is none. A run that is gone since the last row ends there. */
bool burnin_walk_next(struct burnin *burnin, struct burnin_walk *walk, struct burnin_row *row);

/* Writes what comes before all rows of a status, a row, and what comes after all. */
void burnin_status_open(struct text *text, const struct bench *bench);
void burnin_status_row(struct text *text, const struct burnin_row *row);
void burnin_status_close(struct text *text);

#endif
