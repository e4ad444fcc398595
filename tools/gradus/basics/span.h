/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spans of time as people read them. */
#ifndef GRADUS_TOOLS_SPAN_H
#define GRADUS_TOOLS_SPAN_H

#include <stddef.h>

/* 266461 s as "3 d 02:01:01", without days where there are none. Returns text. */
char *span_text(long seconds, char *text, size_t size);

#endif
