/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "span.h"

#include <stdio.h>

char *span_text(long seconds, char *text, size_t size)
{
    const long days = seconds / 86400;
    const int length = days > 0 ? snprintf(text, size, "%ld d ", days) : 0;
    snprintf(text + length, size - (size_t)length, "%02ld:%02ld:%02ld", seconds % 86400 / 3600,
             seconds % 3600 / 60, seconds % 60);
    return text;
}
