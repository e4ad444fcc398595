/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What somebody may do: four roles, each with all that the ones below it may. */
#ifndef GRADUS_DAEMON_ROLE_H
#define GRADUS_DAEMON_ROLE_H

#include <stdbool.h>

/*
 * Every role once: name, word in settings and messages, its rank, whether the log says who did what
 * it is needed for, what it stands for. What only looks or measures is not logged: there is a lot of
 * it, and readings are on record.
 */
#define ROLE_TABLE(X)                                                                              \
    X(NONE, "none", 0, false, "say who one is")                                                    \
    X(LOOK, "look", 1, false, "see points, instruments, readings and runs")                        \
    X(MEASURE, "measure", 2, false, "have points measured")                                        \
    X(RUN, "run", 3, true, "begin and end burn-ins, keep instruments for oneself")                 \
    X(ADMINISTER, "administer", 4, true, "talk to instruments")

enum role {
#define X(name, word, rank, logged, means) ROLE_##name,
    ROLE_TABLE(X)
#undef X
        ROLE_COUNT
};

/* The word of a role. Never NULL. */
const char *role_word(enum role role);

/* All words in their order, NULL at the end, for a choice in settings. */
extern const char *const role_words[];

/* Whether somebody with a role may do what another one is needed for. */
bool role_may(enum role role, enum role needed);

/* Whether the log says who did what the role is needed for. */
bool role_is_logged(enum role needed);

/* Finds the role of a word; false when there is none, and `role` is left alone. */
bool role_of(const char *word, enum role *role);

#endif
