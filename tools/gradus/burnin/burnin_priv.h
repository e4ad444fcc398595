/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of `gradus burnin` share: how runs are drawn. */
#ifndef GRADUS_TOOLS_BURNIN_PRIV_H
#define GRADUS_TOOLS_BURNIN_PRIV_H

#include "tools/gradus/answers/command.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum { BURNIN_LABEL = 64 };

/* One unit under test, or a point that belongs to none. */
struct unit {
    char label[BURNIN_LABEL];
    double worst; /* margin to a limit, 1 at best; NAN: not known */
    bool tripped;
    bool troubled; /* the last measurement failed or came to nothing */
    bool drifting; /* it will meet a limit */
    bool dead;     /* a point of it reads next to nothing */
    size_t place;
};

struct grid {
    struct unit *units;
    size_t count;
    size_t label; /* columns of the widest one */
    size_t well;  /* units that are nothing of the following */
    size_t tripped;
    size_t troubled; /* and not tripped */
    size_t drifting; /* and neither */
};

/* The units of a run's points, in their order. Free with grid_free(). */
struct grid grid_of(const json_t *points);

/* Frees the units. */
void grid_free(struct grid *grid);

/* Lines that the whole grid takes. */
size_t grid_lines(const struct grid *grid, int columns);

/*
 * Draws a grid in at most `lines` (one at least). Where not all fit it is the
 * worst, worst first, and the last line says what is left out.
 */
void grid_draw(const struct terminal *terminal, FILE *stream, const struct grid *grid,
               size_t lines);

/* What a run has to tell of single points. */
enum { FINDINGS_TRIPS, FINDINGS_MEETINGS, FINDINGS_TROUBLES, FINDINGS };

struct findings {
    const json_t **points[FINDINGS]; /* borrowed; trips newest first, meetings next one first */
    size_t count[FINDINGS];
};

/* Looks for them. Free with findings_free(). */
struct findings findings_of(const json_t *points);

/* Frees the lists, not what is in them. */
void findings_free(struct findings *findings);

/* Lines that all of them take. */
size_t findings_lines(const struct findings *findings);

/* Writes them in at most `lines`; a heading says how many of its points are shown. */
void findings_draw(const struct terminal *terminal, FILE *stream, const struct findings *findings,
                   size_t lines);

/* Draws one run in at most `lines` where that can be done at all; 0: as many as it takes. */
void burnin_draw(const struct terminal *terminal, FILE *stream, const json_t *run, size_t lines);

/* Draws one run in one line. */
void burnin_draw_line(const struct terminal *terminal, FILE *stream, const json_t *run);

/* Whether a run goes on. */
bool burnin_goes_on(const json_t *run);

/*
 * Draws the answer of burnin.status in at most `lines` (0: as many as it
 * takes): runs that go on, then those that have ended in a line each. Returns
 * the exit status.
 */
int burnin_draw_status(const struct terminal *terminal, FILE *stream, const json_t *result,
                       size_t lines);

/* gradus burnin status */
int burnin_status(const struct session *session);

/* gradus burnin status --watch */
int burnin_watch(const struct session *session, const char *run);

#endif
