/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "strict_meant.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* SI prefixes (SI brochure, 9th edition, table 7) that settings of a shop come to; "u" for micro. */
static const char prefixes[] = "pnumkMG";
static const char *const exponents[] = { "e-12", "e-9", "e-6", "e-3", "e3", "e6", "e9" };

static bool is_unit(const char *text)
{
    static const char *const units[] = { "", "V", "A", "Hz", "F", "Ohm", "ohm", "s", "W" };

    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (strcmp(text, units[i]) == 0)
            return true;
    return false;
}

static bool is_digits(const char *text)
{
    return text[0] != '\0' && text[strspn(text, "0123456789")] == '\0';
}

void strict_meant(const char *number, const char *tail, char *meant, size_t size)
{
    const char *prefix = tail[0] != '\0' ? strchr(prefixes, tail[0]) : NULL;
    bool plain = strpbrk(number, "eExX") == NULL;

    if (tail[0] == ',')
        snprintf(meant, size, "%s.%s with a point", number, tail + 1);
    else if (strcmp(tail, "%") == 0)
        snprintf(meant, size, "%s: its key says that it is in percent", number);
    else if (prefix != NULL && plain && is_unit(tail + 1))
        snprintf(meant, size, "%s%s", number, exponents[prefix - prefixes]);
    else if (prefix != NULL && plain && is_digits(tail + 1)) /* 4k7 */
        snprintf(meant, size, "%s.%s%s", number, tail + 1, exponents[prefix - prefixes]);
    else if (plain && strchr("vVrR", tail[0]) != NULL && is_digits(tail + 1)) /* 3v3 */
        snprintf(meant, size, "%s.%s", number, tail + 1);
    else if (is_unit(tail))
        snprintf(meant, size, "%s: its key says in which unit", number);
    else
        snprintf(meant, size, "the number alone, in the unit of its key");
}
