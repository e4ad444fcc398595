/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The first look at a libconfig text: finds what the library would take
 * wrongly and in silence, and puts included files in place, so that the
 * library itself never opens one.
 *
 *   integers that wrap or are clamped          lone points, overflow, underflow
 *   comments that are never closed             strings over the end of a line
 *   includes of folders, devices, files        cycles and depth of includes
 *   that are missing                           byte-order marks, NUL escapes
 *   brackets nested without end
 *
 * Unlike the library's, relative includes are looked for in the folder of the
 * file that includes. How the library takes each was tried with libconfig 1.5
 * (tests/reference/test_libconfig_cases.c).
 */
#ifndef GRADUS_DRIVERS_STRICT_SCAN_H
#define GRADUS_DRIVERS_STRICT_SCAN_H

#include "joined.h"

/*
 * Scans a text into an empty joined text. Every mistake goes to `problems`. False
 * when the joined text must not be given to the library at all, because it
 * would be misread as a whole.
 *
 * name  of the file, as it stands in messages; its folder is where relative
 *       includes start from
 */
bool strict_scan(struct joined *joined, const char *text, size_t length, const char *name,
                 struct problems *problems);

#endif
