/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "check_say.h"

#include "core/basics/utf8.h"

#include <stdarg.h>

void check_say(FILE *out, const char *format, ...)
{
    char text[2048];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    fprintf(out, "%s\n", utf8_tame(text));
}
