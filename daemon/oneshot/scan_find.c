/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scan_find.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/dialogue.h"

#include <ctype.h>
#include <dirent.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Longest time for opening and identifying one instrument, and for its reply. */
static const double identify_ms = 6000;
static const double reply_ms = 1500;
static const double quiet_ms = 200;
enum { LONGEST_REPLY = 4096 };

static bool shelf_add(struct shelf *shelf, const char *path)
{
    struct problems problems = { 0 };
    struct profile **profiles =
        realloc(shelf->profiles, (shelf->count + 1) * sizeof *shelf->profiles);
    if (profiles == NULL)
        return false;
    shelf->profiles = profiles;
    profiles[shelf->count] = profile_load(path, &problems);
    if (profiles[shelf->count] != NULL)
        shelf->count++;
    problems_free(&problems);
    return true;
}

static int is_settings_file(const struct dirent *entry)
{
    const size_t length = strlen(entry->d_name);
    return length > 4 && strcmp(entry->d_name + length - 4, ".cfg") == 0;
}

bool shelf_load(struct shelf *shelf, const char *folder)
{
    struct dirent **entries = NULL;
    const int count = scandir(folder, &entries, is_settings_file, alphasort);
    for (int i = 0; i < count; i++) {
        char path[PATH_MAX];
        const int length = snprintf(path, sizeof path, "%s/%s", folder, entries[i]->d_name);
        if (length > 0 && (size_t)length < sizeof path)
            shelf_add(shelf, path);
        free(entries[i]);
    }
    free(entries);
    return count >= 0;
}

void shelf_free(struct shelf *shelf)
{
    for (size_t i = 0; i < shelf->count; i++)
        profile_free(shelf->profiles[i]);
    free(shelf->profiles);
    *shelf = (struct shelf) { 0 };
}

static bool fits(const struct profile *profile, const char *identity)
{
    return pattern_begins(&profile->protocol.identity, identity);
}

bool profile_fits_anybody(const struct profile *profile)
{
    return fits(profile, "NOBODY,NOTHING,0,0");
}

const struct profile *shelf_find(const struct shelf *shelf, const char *identity)
{
    const struct profile *any = NULL;
    const struct profile *best = NULL;
    for (size_t i = 0; i < shelf->count; i++) {
        const struct profile *profile = shelf->profiles[i];
        if (!fits(profile, identity))
            continue;
        if (profile_fits_anybody(profile))
            any = any == NULL ? profile : any;
        else if (best == NULL || strlen(profile->name) < strlen(best->name))
            best = profile;
    }
    return best != NULL ? best : any;
}

bool finding_means(const struct scan_device *device, const char *text)
{
    static const char prefix[] = "serial:";
    const bool prefixed = strncmp(text, prefix, sizeof prefix - 1) == 0;
    const char *path = prefixed ? text + sizeof prefix - 1 : text;
    if (text[0] == '\0')
        return false;
    if (strcmp(device->link, text) == 0)
        return true;
    return path[0] != '\0' &&
           (strcmp(device->node, path) == 0 || strcmp(device->by_id, path) == 0 ||
            strcmp(device->by_path, path) == 0);
}

/*
 * How to ask an instrument about which nothing is known: by IEEE 488.2, taking
 * any line that is not the query come back. False when memory is short.
 */
static bool protocol_of_anybody(struct protocol *protocol)
{
    *protocol = (struct protocol) { .command_terminator = "\n",
                                    .reply_terminator = "\n",
                                    .framing = FRAMING_LINE,
                                    .reply_ms = reply_ms,
                                    .quiet_ms = quiet_ms,
                                    .reply_limit = LONGEST_REPLY,
                                    .identity_query = "*IDN?" };
    return regcomp(&protocol->identity, "^[^*]", REG_EXTENDED) == 0;
}

static bool ask(struct finding *finding, const struct link_spec *spec)
{
    struct failure *failure = &finding->failure;
    struct protocol protocol;
    if (!protocol_of_anybody(&protocol))
        return failure_no_memory(failure, "a pattern");
    struct dialogue *dialogue = dialogue_new(&protocol, spec, "scan");
    const bool known = dialogue != NULL
                           ? dialogue_ready(dialogue, deadline_in(identify_ms), failure)
                           : failure_no_memory(failure, "a dialogue");
    if (known)
        snprintf(finding->identity, sizeof finding->identity, "%s", dialogue_identity(dialogue));
    dialogue_free(dialogue);
    regfree(&protocol.identity);
    return known;
}

void finding_identify(struct finding *finding, const struct serial_line *line,
                      const struct shelf *shelf)
{
    struct link_spec spec;
    if (!finding->wanted)
        return;
    if (finding->device != NULL && finding->device->in_use) {
        failure_set(&finding->failure, FAILURE_DISCONNECTED, NULL, NULL,
                    "in use by gradusd or another program, so it was left alone");
        return;
    }
    if (!link_spec_parse(finding->link, line, &spec, &finding->failure) || !ask(finding, &spec))
        return;
    finding->profile = shelf_find(shelf, finding->identity);
    finding->has_line = spec.kind == LINK_SERIAL;
    finding->line = spec.line;
}

/* The model, second field of an identity (IEEE 488.2, 10.14), or its only field, as a name. */
static void base_name(const struct finding *finding, char *name, size_t size)
{
    const char *comma = strchr(finding->identity, ',');
    const char *field = comma != NULL ? comma + 1 : finding->identity;
    size_t length = strcspn(field, ",");
    size_t count = 0;
    for (size_t i = 0; i < length && count + 1 < size; i++) {
        const unsigned char c = (unsigned char)field[i];
        if (isalnum(c))
            name[count++] = (char)tolower(c);
        else if (count > 0 && name[count - 1] != '_')
            name[count++] = '_';
    }
    while (count > 0 && name[count - 1] == '_')
        count--;
    name[count] = '\0';
    if (count == 0)
        snprintf(name, size, "instrument");
}

void finding_name(const struct finding *findings, size_t index, char *name, size_t size)
{
    char base[24];
    char other[24];
    size_t before = 0;
    base_name(&findings[index], base, sizeof base);
    for (size_t i = 0; i < index; i++) {
        base_name(&findings[i], other, sizeof other);
        before += strcmp(base, other) == 0 ? 1 : 0;
    }
    if (before == 0)
        snprintf(name, size, "%s", base);
    else
        snprintf(name, size, "%s_%zu", base, before + 1);
}
