/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How `gradusd --scan` shows what it found. */
#ifndef GRADUS_DAEMON_SCAN_PRINT_H
#define GRADUS_DAEMON_SCAN_PRINT_H

#include "scan_find.h"

#include <stdio.h>

/* For people: each finding with a group for the settings file, ready to be pasted. */
void scan_print(FILE *out, const struct finding *findings, size_t count);

/* For programs: one JSON array on one line. False when memory is short. */
bool scan_print_json(FILE *out, const struct finding *findings, size_t count);

/*
 * Writes one group of the settings' `instruments`; `profile` "..." is to be
 * filled in where no profile is known. Nothing where there is no link. `more`: another one follows.
 */
void scan_print_stanza(FILE *out, const struct finding *findings, size_t index, bool more);

#endif
