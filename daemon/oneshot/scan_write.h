/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A settings file of what a scan found: gradusd starts with it as it is. */
#ifndef GRADUS_DAEMON_SCAN_WRITE_H
#define GRADUS_DAEMON_SCAN_WRITE_H

#include "scan_find.h"

enum { SCAN_WRITE_PATH = 4096 };

/* Where everything goes; paths from the root. */
struct scan_places {
    char settings[SCAN_WRITE_PATH];
    char profiles[SCAN_WRITE_PATH];
    char unix_path[SCAN_WRITE_PATH]; /* of the socket; empty: the usual one */
    char store[SCAN_WRITE_PATH];
};

/*
 * Works out where things go from the path the user gave and the folder of profiles. False with the
 * failure set: something is there already, or its folder is not.
 */
bool scan_places_find(const char *path, const char *profiles, struct scan_places *places,
                      struct failure *failure);

/* How many of the findings have a link and a profile that was made for them. */
size_t scan_write_count(const struct finding *findings, size_t count);

/*
 * Writes the file; never over another one. Findings with a link and a profile made for them are
 * its instruments, each with a comment that says why; the others stand there as comments. False
 * with the failure set, and no file is left.
 */
bool scan_write(const struct scan_places *places, const struct finding *findings, size_t count,
                struct failure *failure);

/* Says on `out` what was written, and how a reading is had from here. */
void scan_write_tell(FILE *out, const struct scan_places *places, const struct finding *findings,
                     size_t count);

#endif
