/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "languages.h"

#include <string.h>

const struct language *language_of(const char *type)
{
    static const struct language *const all[] = { &language_tarnwerk_meter, &language_oldmere_meter,
                                                  &language_tarnwerk_scope,
                                                  &language_oldmere_scope };

    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (strcmp(all[i]->type, type) == 0)
            return all[i];
    return NULL;
}
