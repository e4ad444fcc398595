/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Short and long forms of SCPI headers; for the listener and the languages. */
#ifndef STANDIN_SCPI_MATCH_H
#define STANDIN_SCPI_MATCH_H

#include <stdbool.h>

enum { SCPI_SUFFIXES = 2 };

/*
 * Whether a header without its leading colon and its `?` is a form of the
 * pattern. Fills in SCPI_SUFFIXES numeric suffixes, 1 where there is none.
 */
bool scpi_match_header(const char *pattern, const char *header, int *suffixes);

/* Whether a text is the short or the long form of a pattern such as "VOLTage:DC". */
bool scpi_matches(const char *pattern, const char *text);

#endif
