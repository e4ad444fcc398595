/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "problem.h"

#include <stdarg.h>
#include <stdio.h>

bool problem_tell(struct problem *problem, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(problem->text, sizeof problem->text, format, arguments);
    va_end(arguments);
    return false;
}
