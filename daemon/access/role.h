/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What somebody may do: four roles, each with all that the ones below it may. */
#ifndef GRADUS_DAEMON_ROLE_H
#define GRADUS_DAEMON_ROLE_H

#include <stdbool.h>

/* Every role once: name, word in settings and messages, what it stands for. */
#define ROLE_TABLE(X)                                                                              \
    X(NONE, "none", "say who one is")                                                              \
    X(LOOK, "look", "see points, instruments, readings and runs")                                  \
    X(MEASURE, "measure", "have points measured")                                                  \
    X(RUN, "run", "begin and end burn-ins, keep instruments for oneself")                          \
    X(ADMINISTER, "administer", "talk to instruments")

enum role {
#define X(name, word, means) ROLE_##name,
    ROLE_TABLE(X)
#undef X
        ROLE_COUNT
};

/* The word of a role. Never NULL. */
const char *role_word(enum role role);

/* All words in their order, NULL at the end, for a choice in settings. */
extern const char *const role_words[];

/* Finds the role of a word; false when there is none, and `role` is left alone. */
bool role_of(const char *word, enum role *role);

#endif
