/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scan_run.h"

#include "line_words.h"
#include "scan_find.h"
#include "scan_print.h"
#include "scan_write.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SCAN_FINE = 0, SCAN_USAGE = 2, SCAN_FAILED = 3 };

static const char own_profiles[] = "/etc/gradus/profiles";

static const char usage[] =
    "usage: gradusd --scan [--identify LINK|all]... [--line \"BAUD [FRAMING [FLOW]]\"]\n"
    "               [--profiles FOLDER] [--write FILE] [--json]\n"
    "Lists serial ports and USBTMC devices, each with a group for the settings file.\n"
    "--identify  sends *IDN? to this link, or to all that are found and not in use\n"
    "--line      how serial lines are set for that, as in \"115200 8N1 rts/cts\";\n"
    "            default \"9600 8N1 none\"\n"
    "--profiles  where the profiles are that identities are compared with;\n"
    "            default /etc/gradus/profiles and those that came with gradusd\n"
    "--write     makes a settings file of who answered; asks USB instruments (USBTMC) by itself,\n"
    "            serial ports and other links where --identify names them; never over a file\n"
    "Exit status: 0 well, 2 usage, 3 one that was asked did not answer, or no list.\n";

struct scan_options {
    const char **identify; /* as many as there are words at most */
    size_t identify_count;
    bool all;
    const char *profiles; /* NULL: the shop's own and the shipped ones */
    const char *write;    /* file; NULL: none */
    struct serial_line line;
    bool json;
    bool help;
};

static bool complain(const char *word, const char *text)
{
    fprintf(stderr, "gradusd --scan: %s: %s\n", word, text);
    return false;
}

static bool read_value(struct scan_options *options, const char *word, const char *value)
{
    if (value == NULL)
        return complain(word, "needs a value");
    if (strcmp(word, "--profiles") == 0)
        options->profiles = value;
    else if (strcmp(word, "--write") == 0)
        options->write = value;
    else if (strcmp(word, "--line") == 0)
        return line_read(value, &options->line) ||
               complain(value, "no line, expected as in \"115200 8N1 rts/cts\"");
    else if (strcmp(value, "all") == 0)
        options->all = true;
    else
        options->identify[options->identify_count++] = value;
    return true;
}

static bool read_options(int argc, char **argv, struct scan_options *options)
{
    for (int i = 0; i < argc; i++) {
        const char *word = argv[i];
        if (strcmp(word, "--json") == 0) {
            options->json = true;
        } else if (strcmp(word, "--help") == 0) {
            options->help = true;
        } else if (strcmp(word, "--identify") == 0 || strcmp(word, "--line") == 0 ||
                   strcmp(word, "--profiles") == 0 || strcmp(word, "--write") == 0) {
            i++;
            if (!read_value(options, word, i < argc ? argv[i] : NULL))
                return false;
        } else {
            return complain(word, "not expected here");
        }
    }
    return true;
}

/* Everything found, and what the user named beside that. */
struct findings {
    size_t count;
    struct finding *list; /* has room for all */
};

/* Marks the devices the user means, or takes the link in as one more finding. */
static bool want(struct findings *findings, const char *text)
{
    char said[600];
    struct link_spec spec;
    struct failure failure = { 0 };
    bool found = false;
    for (size_t i = 0; i < findings->count; i++) {
        struct finding *finding = &findings->list[i];
        if (finding->device != NULL ? finding_means(finding->device, text)
                                    : finding->link != NULL && strcmp(finding->link, text) == 0)
            found = finding->wanted = true;
    }
    if (found)
        return true;
    if (!link_spec_parse(text, NULL, &spec, &failure))
        return complain(text, failure_text(&failure, said, sizeof said));
    findings->list[findings->count++] = (struct finding) { .link = text, .wanted = true };
    return true;
}

static bool gather(const struct scan_options *options, const struct scan *scan,
                   struct findings *findings)
{
    for (size_t i = 0; i < scan->count; i++)
        findings->list[findings->count++] =
            (struct finding) { .device = &scan->devices[i],
                               .link = scan->devices[i].link,
                               .wanted = (options->all || (options->write != NULL &&
                                                           scan->devices[i].kind != SCAN_SERIAL)) &&
                                         !scan->devices[i].in_use };
    for (size_t i = 0; i < options->identify_count; i++)
        if (!want(findings, options->identify[i]))
            return false;
    return true;
}

static int identify_and_print(const struct scan_options *options, const struct shelf *shelf,
                              struct findings *findings)
{
    int status = SCAN_FINE;
    for (size_t i = 0; i < findings->count; i++) {
        finding_identify(&findings->list[i], &options->line, shelf);
        if (findings->list[i].failure.code != FAILURE_NONE)
            status = SCAN_FAILED;
    }
    if (!options->json)
        scan_print(stdout, findings->list, findings->count);
    else if (!scan_print_json(stdout, findings->list, findings->count))
        status = SCAN_FAILED;
    return status;
}

/* Makes settings of what was found. */
static int write_settings(const struct scan_places *places, const struct findings *findings,
                          bool json)
{
    char said[600];
    struct failure failure = { 0 };
    if (scan_write_count(findings->list, findings->count) == 0) {
        complain("--write",
                 "nobody answered who has a profile, so there is nothing to write; name a "
                 "serial port or link with --identify, or say \"--identify all\"");
        return SCAN_FAILED;
    }
    if (!scan_write(places, findings->list, findings->count, &failure)) {
        complain("--write", failure_text(&failure, said, sizeof said));
        return SCAN_FAILED;
    }
    scan_write_tell(json ? stderr : stdout, places, findings->list, findings->count);
    return SCAN_FINE;
}

/* The usual folders may be missing; a folder the user names may not. */
static bool load_profiles(const struct scan_options *options, struct shelf *shelf)
{
    if (options->profiles == NULL) {
        shelf_load(shelf, own_profiles);
        shelf_load(shelf, profile_folder());
        return true;
    }
    return shelf_load(shelf, options->profiles) ||
           complain(options->profiles, "is not a folder that can be read");
}

/* The folder that a settings file names; the profiles that came with gradusd are found without. */
static const char *folder_to_name(const struct scan_options *options)
{
    if (options->profiles != NULL)
        return options->profiles;
    return access(own_profiles, R_OK) == 0 ? own_profiles : profile_folder();
}

static int scan(const struct scan_options *options)
{
    char said[600];
    struct failure failure = { 0 };
    struct shelf shelf = { 0 };
    struct scan scan = { 0 };
    struct findings findings = { 0 };
    struct scan_places places;
    int status = SCAN_FAILED;
    if (!load_profiles(options, &shelf)) {
        status = SCAN_USAGE;
    } else if (options->write != NULL &&
               !scan_places_find(options->write, folder_to_name(options), &places, &failure)) {
        complain("--write", failure_text(&failure, said, sizeof said));
        status = SCAN_USAGE;
    } else if (!scan_list("", &scan, &failure)) {
        complain("list", failure_text(&failure, said, sizeof said));
    } else {
        findings.list = calloc(scan.count + options->identify_count + 1, sizeof *findings.list);
        if (findings.list == NULL)
            complain("list", "out of memory");
        else if (!gather(options, &scan, &findings))
            status = SCAN_USAGE;
        else
            status = identify_and_print(options, &shelf, &findings);
        if (status != SCAN_USAGE && findings.list != NULL && options->write != NULL &&
            write_settings(&places, &findings, options->json) != SCAN_FINE)
            status = SCAN_FAILED;
    }
    free(findings.list);
    scan_free(&scan);
    shelf_free(&shelf);
    return status;
}

int scan_run(int argc, char **argv)
{
    struct scan_options options = { .line = serial_line_default() };
    int status = SCAN_USAGE;
    options.identify = calloc((size_t)argc + 1, sizeof *options.identify);
    if (options.identify == NULL) {
        complain("list", "out of memory");
        return SCAN_FAILED;
    }
    if (!read_options(argc, argv, &options)) {
        fputs(usage, stderr);
    } else if (options.help) {
        fputs(usage, stdout);
        status = SCAN_FINE;
    } else {
        status = scan(&options);
    }
    free(options.identify);
    return status;
}
