/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Going through the anchors of a database while its rows are walked: first
 * all lines, whether the key wrote them and where the ones of the present
 * database begin; then those again, one by one, beside the rows. Only what
 * was there when the walk began is looked at.
 */
#ifndef GRADUS_DAEMON_STORE_ANCHOR_WALK_H
#define GRADUS_DAEMON_STORE_ANCHOR_WALK_H

#include "store_anchor.h"

#include <sys/types.h>

/* Start with {0}. */
struct anchor_walk {
    bool begun;
    bool ready;  /* all lines were looked at once */
    off_t size;  /* of the file, when the walk began */
    off_t at;    /* how far it was read */
    off_t first; /* where the lines of the present database begin */
    uint64_t lines;
    uint64_t wrong;     /* number of the first line that the key did not write; 0: none */
    struct anchor last; /* the last line, once all were looked at */
    struct anchor next; /* the line that is due; its id 0: there is none */
};

/* Looks at the file; before anything of the database is read. */
void anchor_walk_begin(struct anchor_walk *walk, const char *path);

/* Goes through lines for the first time, a stretch of them; false: it is not ready yet. */
bool anchor_walk_ready(struct anchor_walk *walk, const char *path, const struct anchor_key *key);

/* Goes on to the first line of an id above `id`. */
void anchor_walk_to(struct anchor_walk *walk, const char *path, int64_t id);

#endif
