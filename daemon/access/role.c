/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "role.h"

#include <string.h>

const char *const role_words[] = {
#define X(name, word, rank, logged, means) (word),
    ROLE_TABLE(X)
#undef X
        NULL
};

const char *role_word(enum role role)
{
    return role < ROLE_COUNT ? role_words[role] : role_words[ROLE_NONE];
}

static const struct {
    int rank;
    bool logged;
} traits[ROLE_COUNT] = {
#define X(name, word, rank, logged, means) { rank, logged },
    ROLE_TABLE(X)
#undef X
};

bool role_may(enum role role, enum role needed)
{
    return traits[role].rank >= traits[needed].rank;
}

bool role_is_logged(enum role needed)
{
    return traits[needed].logged;
}

bool role_of(const char *word, enum role *role)
{
    for (int i = 0; i < ROLE_COUNT; i++) {
        if (strcmp(role_words[i], word) == 0) {
            *role = (enum role)i;
            return true;
        }
    }
    return false;
}
