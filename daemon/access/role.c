/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "role.h"

#include <string.h>

const char *const role_words[] = {
#define X(name, word, means) (word),
    ROLE_TABLE(X)
#undef X
        NULL
};

const char *role_word(enum role role)
{
    return role < ROLE_COUNT ? role_words[role] : role_words[ROLE_NONE];
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
