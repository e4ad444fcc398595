/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `gradusd --scan` found: devices, and links that the user named, with who answered there. */
#ifndef GRADUS_DAEMON_SCAN_FIND_H
#define GRADUS_DAEMON_SCAN_FIND_H

#include "drivers/link/link.h"
#include "drivers/profile/profile.h"
#include "drivers/scan.h"

enum { FINDING_IDENTITY = DIALOGUE_IDENTITY };

struct finding {
    const struct scan_device *device; /* NULL: a link the user named that is none of those found */
    const char *link;                 /* empty: there is no way to write one */
    bool wanted;                      /* it is to be identified */
    char identity[FINDING_IDENTITY];  /* empty: not asked, or `failure` says why not */
    struct failure failure;
    const struct profile *profile; /* whose identity fits; NULL: none, or not known */
    bool has_line;                 /* `line` is what a serial link was identified with */
    struct serial_line line;
};

/* Profiles to compare identities with. Start with {0}; free with shelf_free(). */
struct shelf {
    size_t count;
    struct profile **profiles;
};

/*
 * Loads the profiles of a folder; those with mistakes are left out, `gradus
 * check` lists these. False when the folder cannot be read.
 */
bool shelf_load(struct shelf *shelf, const char *folder);

/* Frees the profiles and leaves an empty shelf. */
void shelf_free(struct shelf *shelf);

/*
 * The profile whose identity pattern fits; one that fits any identity at all
 * only when there is no other, and of several that with the shortest name: variants have longer ones. NULL when none does.
 */
const struct profile *shelf_find(const struct shelf *shelf, const char *identity);

/* Whether a profile says nothing of who it is for: a template, made for nobody in particular. */
bool profile_fits_anybody(const struct profile *profile);

/* Whether `text`, as a user may write it, means a device: its link, or its node by any name. */
bool finding_means(const struct scan_device *device, const char *text);

/*
 * Asks "*IDN?", nothing else, where the finding is wanted and nobody else has
 * it, and looks the identity up. `line` is how a serial line is set.
 */
void finding_identify(struct finding *finding, const struct serial_line *line,
                      const struct shelf *shelf);

/*
 * Writes a name for the settings, made from the identity's second field or
 * else "instrument", that none of the findings before has: with a number
 * behind it where need be. `size` at least 32.
 */
void finding_name(const struct finding *findings, size_t index, char *name, size_t size);

#endif
