/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Short and long forms of SCPI headers; used by the listener only. */
#ifndef STANDIN_SCPI_MATCH_H
#define STANDIN_SCPI_MATCH_H

#include <stdbool.h>

/*
 * Whether a header without its leading colon and its `?` is a form of the
 * pattern. Fills in SCPI_SUFFIXES numeric suffixes, 1 where there is none.
 */
bool scpi_match_header(const char *pattern, const char *header, int *suffixes);

#endif
