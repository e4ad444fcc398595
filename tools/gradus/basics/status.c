/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "status.h"

#include <stddef.h>
#include <string.h>

static size_t rank_of(int status)
{
    static const int order[] = STATUS_ORDER;
    const size_t count = sizeof order / sizeof order[0];
    for (size_t i = 0; i < count; i++)
        if (order[i] == status)
            return i + 1;
    return 0;
}

int status_worse(int a, int b)
{
    return rank_of(a) <= rank_of(b) ? a : b;
}

int status_of_verdict(const char *verdict)
{
    static const struct {
        const char *word;
        int status;
    } table[] = {
        { "none", STATUS_PASS },
        { "pass", STATUS_PASS },
        { "conditional pass", STATUS_UNDECIDED },
        { "conditional fail", STATUS_UNDECIDED },
        { "fail", STATUS_FAIL },
    };
    for (size_t i = 0; verdict != NULL && i < sizeof table / sizeof table[0]; i++)
        if (strcmp(verdict, table[i].word) == 0)
            return table[i].status;
    return STATUS_NO_READING;
}
