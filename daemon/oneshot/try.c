/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "try.h"

#include "drivers/cfg/strict.h"
#include "drivers/instrument/instrument.h"
#include "line_words.h"
#include "try_report.h"
#include "try_steps.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TRY_FINE = 0, TRY_PROBLEMS = 1, TRY_USAGE = 2, TRY_NO_INSTRUMENT = 3 };

/* Longest time for opening, identifying and the first look at the error queue. */
static const double identify_ms = 15000;

static const char usage[] =
    "usage: gradusd --try PROFILE LINK [--yes] [--standard] [--baud N] [--framing 8N1]\n"
    "               [--flow none|rts/cts|xon/xoff]\n"
    "LINK is tcp:HOST:PORT, unix:/PATH, serial:/dev/NAME, serial:usb:VVVV:PPPP[:SERIAL],\n"
    "usb:VVVV:PPPP[:SERIAL] or usb:serial:SERIAL.\n"
    "Without --yes the instrument is identified and its error queue read, nothing more.\n"
    "--standard asks for the commands every SCPI instrument must know; it needs --yes too.\n"
    "Exit status: 0 no problems, 1 problems, 2 usage or the profile, 3 no instrument.\n";

static const char caution[] =
    "CAUTION: this switches through every function, range, coupling and input of the\n"
    "instrument, current and resistance among them. Disconnect the leads, or make sure that\n"
    "no setting can do harm to the instrument or to what it is connected to.\n";

struct try_options {
    const char *profile;
    const char *link;
    const char *baud; /* NULL: as the profile says; likewise the next two */
    const char *framing;
    const char *flow;
    bool yes;
    bool standard;
    bool help;
};

static bool complain(const char *word, const char *text)
{
    fprintf(stderr, "gradusd --try: %s: %s\n", word, text);
    return false;
}

/* Where the value of an option goes; NULL when it is none that takes a value. */
static const char **value_place(struct try_options *options, const char *word)
{
    if (strcmp(word, "--baud") == 0)
        return &options->baud;
    if (strcmp(word, "--framing") == 0)
        return &options->framing;
    return strcmp(word, "--flow") == 0 ? &options->flow : NULL;
}

static bool *flag_place(struct try_options *options, const char *word)
{
    if (strcmp(word, "--yes") == 0)
        return &options->yes;
    if (strcmp(word, "--standard") == 0)
        return &options->standard;
    return strcmp(word, "--help") == 0 ? &options->help : NULL;
}

static bool read_operand(struct try_options *options, const char *word)
{
    if (options->profile == NULL)
        options->profile = word;
    else if (options->link == NULL)
        options->link = word;
    else
        return complain(word, "one word too many");
    return true;
}

static bool read_options(int argc, char **argv, struct try_options *options)
{
    for (int i = 0; i < argc; i++) {
        const char *const word = argv[i];
        const char **const value = value_place(options, word);
        bool *const flag = flag_place(options, word);
        if (value != NULL) {
            if (i + 1 == argc)
                return complain(word, "needs a value");
            *value = argv[++i];
        } else if (flag != NULL) {
            *flag = true;
        } else if (word[0] == '-') {
            return complain(word, "no such option");
        } else if (!read_operand(options, word)) {
            return false;
        }
    }
    if (options->help)
        return true;
    if (options->link == NULL)
        return complain(options->profile == NULL ? "PROFILE" : "LINK", "is missing");
    return !options->standard || options->yes ||
           complain("--standard", "resets the instrument, so it needs --yes");
}

/* The line as the profile has it, with what was given in its place. */
static bool read_line(const struct try_options *options, struct serial_line *line)
{
    if (options->baud != NULL && !line_read_baud(options->baud, line))
        return complain(options->baud, "no speed of a line, expected 300 to 921600 baud");
    if (options->flow != NULL && !line_read_flow(options->flow, line))
        return complain(options->flow, "no flow control, expected none, rts/cts or xon/xoff");
    return options->framing == NULL || serial_framing_parse(options->framing, line) ||
           complain(options->framing,
                    "no framing, expected 7 or 8, N, E or O, and 1 or 2, as in 8N1");
}

static struct profile *load_profile(const char *path)
{
    struct problems problems = { 0 };
    struct profile *const profile = profile_load(path, &problems);
    for (size_t i = 0; i < problems.count; i++)
        fprintf(stderr, "%s\n", problems.lines[i]);
    problems_free(&problems);
    return profile;
}

static bool read_link(const struct try_options *options, const struct profile *profile,
                      struct link_spec *spec)
{
    char text[600];
    struct failure failure = { 0 };
    struct serial_line line = profile->line;
    if (!read_line(options, &line))
        return false;
    return link_spec_parse(options->link, &line, spec, &failure) ||
           complain(options->link, failure_text(&failure, text, sizeof text));
}

/* What means that there is nobody, in contrast to somebody who answers something else. */
static bool nobody_there(const struct failure *failure)
{
    switch (failure->code) {
    case FAILURE_DISCONNECTED:
    case FAILURE_TIMEOUT:
    case FAILURE_DEADLINE:
    case FAILURE_SYSTEM:
        return true;
    default:
        return false;
    }
}

/* Identifies and reads the error queue. Returns a status; TRY_FINE: go on. */
static int identify(const struct trial *trial)
{
    struct failure failure = { 0 };
    struct dialogue *const dialogue = instrument_dialogue(trial->instrument);
    if (!report_begin(trial->report, "identity"))
        return TRY_PROBLEMS;
    if (!dialogue_ready(dialogue, deadline_in(identify_ms), &failure)) {
        report_failure(trial->report, &failure);
        return nobody_there(&failure) ? TRY_NO_INSTRUMENT : TRY_PROBLEMS;
    }
    report_outcome(trial->report, "it is %s", dialogue_identity(dialogue));
    if (report_begin(trial->report, "error queue"))
        try_error_queue(trial);
    return TRY_FINE;
}

static int try_all(const struct trial *trial, const struct try_options *options)
{
    const int status = identify(trial);
    if (status != TRY_FINE)
        return status;
    if (!options->yes) {
        printf("\nGo on with --yes to try the whole profile.\n");
    } else {
        if (options->standard)
            try_standard(trial);
        try_profile(trial);
        instrument_release(trial->instrument, deadline_in(identify_ms));
    }
    return trial->report->problem_count > 0 ? TRY_PROBLEMS : TRY_FINE;
}

static int try_instrument(const struct try_options *options, const struct profile *profile,
                          const struct link_spec *spec)
{
    struct report report = { 0 };
    struct instrument *const instrument = instrument_new(profile, spec, "instrument");
    if (instrument == NULL) {
        fprintf(stderr, "gradusd --try: out of memory\n");
        return TRY_PROBLEMS;
    }
    const struct trial trial = { profile, instrument, &report };
    dialogue_trace(instrument_dialogue(instrument), report_trace, &report);
    printf("profile %s (%s), link %s\n%s", profile->name, profile->path, spec->text, caution);
    const int status = try_all(&trial, options);
    report_summary(&report);
    instrument_free(instrument);
    report_free(&report);
    return status;
}

int try_run(int argc, char **argv)
{
    struct try_options options = { 0 };
    struct link_spec spec;
    if (!read_options(argc, argv, &options)) {
        fputs(usage, stderr);
        return TRY_USAGE;
    }
    if (options.help) {
        fputs(usage, stdout);
        return TRY_FINE;
    }
    /* Each exchange is shown when it happens, whatever reads along. */
    setvbuf(stdout, NULL, _IOLBF, 0);
    struct profile *const profile = load_profile(options.profile);
    const int status = profile == NULL || !read_link(&options, profile, &spec)
                           ? TRY_USAGE
                           : try_instrument(&options, profile, &spec);
    profile_free(profile);
    return status;
}
