/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "options.h"

#include "core/basics/nearest.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char default_socket[] = "unix:/run/gradus/gradus.sock";

#define TEXT(member) offsetof(struct options, member)

static const struct option_row rows[] = {
    { "--socket", OPTION_SOCKET, "ADDRESS", 0, 0, false,
      "where the daemon listens: unix:PATH or tcp:HOST:PORT\n"
      "(default: GRADUS_SOCKET, else unix:/run/gradus/gradus.sock)",
      TEXT(socket) },
    { "--ca", OPTION_CA, "FILE", 0, 0, false,
      "over tcp: use TLS; the daemon's certificate is, or is from, that in FILE\n"
      "(default: GRADUS_CA)",
      TEXT(ca) },
    { "--identity", OPTION_IDENTITY, "FILE", 0, 0, false,
      "with --ca: certificate and key that say who one is (default: GRADUS_IDENTITY); or a\n"
      "token, from the file that GRADUS_TOKEN_FILE names, or GRADUS_TOKEN",
      TEXT(identity) },
    { "--json", OPTION_JSON, NULL, 0, 0, false, "results as the daemon gave them, one JSON a line",
      0 },
    { "--csv", OPTION_CSV, NULL, 0, 0, false,
      "comma-separated values with a heading and full precision", 0 },
    { "--digits", OPTION_DIGITS, "N", 1, 2, true, "digits of the uncertainty, 1 or 2 (default 2)",
      0 },
    { "--quiet", OPTION_QUIET, NULL, 0, 0, false,
      "nothing on standard output: the exit status is the answer", 0 },
    { "--help", OPTION_HELP, NULL, 0, 0, false, "say how the command is used", 0 },
    { "--version", OPTION_VERSION, NULL, 0, 0, false, "say which version this is", 0 },
    { "--repeat", OPTION_REPEAT, "N", 1, 10000, true,
      "average N readings, all in the range that settled (default 1)", 0 },
    { "--deadline", OPTION_DEADLINE, "MS", 1, 3600000, false,
      "longest time for each reading in milliseconds (default 10000)", 0 },
    { "--all", OPTION_ALL, NULL, 0, 0, false, "every point there is", 0 },
    { "--duration", OPTION_DURATION, "S", 1e-9, 1000, false,
      "how long the record is to be, in seconds (default: the point's own)", 0 },
    { "--when", OPTION_WHEN, "WORDS", 0, 0, false,
      "wait for it: \"rises through 2.5 V\" or \"falls through 300 mV\", at the tip", TEXT(when) },
    { "--before", OPTION_BEFORE, "S", 0, 1000, false,
      "with --when: seconds of the record before it (default: a fifth of it)", 0 },
    { "--after", OPTION_AFTER, "S", 1e-9, 1000, false, "with --when: seconds behind it, at least",
      0 },
    { "--wait", OPTION_WAIT, "S", 1e-3, 3600, false,
      "with --when: how long to wait, in seconds (default 60)", 0 },
    { "--for", OPTION_FOR, "S", 1e-3, 1e8, false, "end after so many seconds (default: at SIGINT)",
      0 },
    { "--samples", OPTION_SAMPLES, "N", 2, 2000000, true,
      "most samples to return: every n-th of them (default: all)", 0 },
    { "--every", OPTION_EVERY, "MS", 0, 86400000, false,
      "from reading to reading, or from look to look, in milliseconds,\n0: as fast as it goes "
      "(default 1000)",
      0 },
    { "--count", OPTION_COUNT, "N", 1, 1000000000, true,
      "end after N readings of each point (default: at SIGINT)", 0 },
    { "--scan", OPTION_SCAN, NULL, 0, 0, false,
      "list what is plugged into this machine; needs no daemon", 0 },
    { "--identify", OPTION_IDENTIFY, "LINK", 0, 0, false,
      "with --scan: ask *IDN? there, or of all that are found (\"all\"); may be repeated", 0 },
    { "--line", OPTION_LINE, "TEXT", 0, 0, false,
      "with --identify: how serial lines are set, as in \"115200 8N1 rts/cts\"\n"
      "(default \"9600 8N1 none\")",
      TEXT(line) },
    { "--profiles", OPTION_PROFILES, "FOLDER", 0, 0, false,
      "with --identify: the profiles that identities are compared with\n"
      "(default /etc/gradus/profiles and those that came with gradusd)",
      TEXT(profiles) },
    { "--ascii", OPTION_ASCII, NULL, 0, 0, false, "draw with plain ASCII", 0 },
    { "--since", OPTION_SINCE, "MOMENT", 0, 0, false,
      "readings from this moment on: 2026-01-31, 2026-01-31T23:59:59Z, UTC", TEXT(since) },
    { "--until", OPTION_UNTIL, "MOMENT", 0, 0, false, "readings up to this moment", TEXT(until) },
    { "--limit", OPTION_LIMIT, "N", 1, 1000000000, true,
      "the newest N readings (default: with --since all, else 100)", 0 },
    { "--run", OPTION_RUN, "NAME", 0, 0, false, "readings of this run", TEXT(run) },
    { "--verify", OPTION_VERIFY, NULL, 0, 0, false,
      "check that the store is as it was written, row by row", 0 },
    { "--html", OPTION_HTML, "FILE", 0, 0, false,
      "write the report there as one page of HTML; - is standard output", TEXT(html) },
    { "--pdf", OPTION_PDF, "FILE", 0, 0, false, "write the report there as a PDF of A4 pages",
      TEXT(pdf) },
    { "--watch", OPTION_WATCH, NULL, 0, 0, false, "keep watching, until SIGINT", 0 },
    { "--plain", OPTION_PLAIN, NULL, 0, 0, false,
      "line by line, as a screen reader wants it, in place of a screen", 0 },
    { "--aloud", OPTION_ALOUD, NULL, 0, 0, false, "say what there is to say", 0 },
    { "--anew", OPTION_ANEW, NULL, 0, 0, false, "from the beginning, where a walk was left", 0 },
    { "--probe", OPTION_PROBE, "NAME", 0, 0, false,
      "the probe of the settings that is used (default \"direct\", a plain connection)",
      TEXT(probe) },
    { "--expect", OPTION_EXPECT, "VALUE", -1e300, 1e300, false,
      "the value that is to be expected, in the unit at the tip", 0 },
    { "--limits", OPTION_LIMITS, "LOW:HIGH", 0, 0, false,
      "between which the value must be; one may be left out; or N% of --expect", TEXT(limits) },
    { "--with", OPTION_WITH, "KEY=VALUE", 0, 0, false,
      "another key of a point in the settings, as in frequency=50; may be repeated", 0 },
    { "--follow", OPTION_FOLLOW, NULL, 0, 0, false, "again and again, until SIGINT", 0 },
    { "--write", OPTION_WRITE, "FILE", 0, 0, false,
      "with --scan: make a settings file of who answered; USB instruments are asked by\n"
      "themselves, serial ports and other links where --identify names them; of learn: the limits",
      TEXT(write) },
    { "--settings", OPTION_SETTINGS, "FILE", 0, 0, false,
      "with a gradusd of its own, which has these settings and ends with the command",
      TEXT(settings) },
    { "--job", OPTION_JOB, "NAME", 0, 0, false,
      "the job that the readings belong to; a file (a path, or *.json) may say unit, serial,\n"
      "customer, measured_by, remarks and fields of it, as one JSON object",
      TEXT(job) },
    { "--serial", OPTION_SERIAL, "NUMBER", 0, 0, false,
      "serial number of the unit that is measured, or that readings are of", TEXT(serial) },
    { "--serials", OPTION_SERIALS, "FILE", 0, 0, false,
      "serial numbers of the units of a burn-in, a line each in the order of the units' numbers\n"
      "(of learn: of the good units); -: standard input, where a scanner types them",
      TEXT(serials) },
    { "--compare", OPTION_COMPARE, "SERIAL", 0, 0, false, "show this unit beside the good ones",
      TEXT(compare) },
    { "--coverage", OPTION_COVERAGE, "PERCENT", 50, 99.99, false,
      "share of all such units that limits are to hold (default 95)", 0 },
    { "--confidence", OPTION_SURENESS, "PERCENT", 50, 99.99, false,
      "how sure it is to be that they do (default 95)", 0 },
    { "--stage", OPTION_STAGE, "WHEN", 0, 0, false,
      "with --job: \"before\" or \"after\" the repair", TEXT(stage) },
    { .name = NULL },
};

const struct option_row *options_table(void)
{
    return rows;
}

struct options options_default(void)
{
    const char *const socket = getenv("GRADUS_SOCKET");
    return (struct options) { .socket = socket != NULL && *socket != '\0' ? socket : default_socket,
                              .ca = getenv("GRADUS_CA"),
                              .identity = getenv("GRADUS_IDENTITY"),
                              .digits = 2,
                              .repeat = 1,
                              .deadline_ms = 10000,
                              .duration = (double)NAN,
                              .expected = (double)NAN,
                              .before = (double)NAN,
                              .after = (double)NAN,
                              .wait = 60,
                              .coverage = 95,
                              .confidence = 95,
                              .lasts = (double)NAN,
                              .every_ms = 1000 };
}

const struct option_row *options_find(const char *name)
{
    if (strcmp(name, "-h") == 0)
        name = "--help";
    for (const struct option_row *row = rows; row->name != NULL; row++)
        if (strcmp(name, row->name) == 0)
            return row;
    return NULL;
}

const char *options_nearest(const char *name)
{
    struct nearest nearest = { 0 };
    for (const struct option_row *row = rows; row->name != NULL; row++)
        nearest_offer(&nearest, name, row->name);
    return nearest.word;
}

/* Decimal numbers only, the whole text: strtod() alone would take "0x1A", "nan" and "5 ". */
static bool read_number(const char *text, double *number)
{
    if (text[0] == '\0' || text[strspn(text, "0123456789.eE+-")] != '\0')
        return false;
    char *end;
    *number = strtod(text, &end);
    return *end == '\0' && isfinite(*number);
}

static bool check_number(const struct option_row *row, const char *value, double *number,
                         char *problem, unsigned long size)
{
    const bool fine = read_number(value, number) && *number >= row->minimum &&
                      *number <= row->maximum && (!row->whole || *number == floor(*number));
    if (!fine) {
        snprintf(problem, size, "%s: \"%s\" is not %s from %.10g to %.10g", row->name, value,
                 row->whole ? "a whole number" : "a number", row->minimum, row->maximum);
    }
    return fine;
}

/* The flag that an option without a value sets; NULL for one with a value. */
static bool *flag_of(struct options *options, uint64_t bit)
{
    switch (bit) {
    case OPTION_JSON:
        return &options->json;
    case OPTION_CSV:
        return &options->csv;
    case OPTION_QUIET:
        return &options->quiet;
    case OPTION_HELP:
        return &options->help;
    case OPTION_ALL:
        return &options->all;
    case OPTION_ASCII:
        return &options->ascii;
    case OPTION_VERSION:
        return &options->version;
    case OPTION_SCAN:
        return &options->scan;
    case OPTION_VERIFY:
        return &options->verify;
    case OPTION_WATCH:
        return &options->watch;
    case OPTION_PLAIN:
        return &options->plain;
    case OPTION_ALOUD:
        return &options->aloud;
    case OPTION_ANEW:
        return &options->anew;
    case OPTION_FOLLOW:
        return &options->follow;
    default:
        return NULL;
    }
}

/* A number that is stored as it is; NULL: of another kind. */
static double *real_of(struct options *options, uint64_t bit)
{
    switch (bit) {
    case OPTION_BEFORE:
        return &options->before;
    case OPTION_AFTER:
        return &options->after;
    case OPTION_FOR:
        return &options->lasts;
    case OPTION_WAIT:
        return &options->wait;
    case OPTION_COVERAGE:
        return &options->coverage;
    case OPTION_SURENESS:
        return &options->confidence;
    default:
        return NULL;
    }
}

static void store(struct options *options, const struct option_row *row, const char *text,
                  double number)
{
    bool *flag = flag_of(options, row->bit);
    if (row->place != 0) {
        *(const char **)(void *)((char *)options + row->place) = text;
        return;
    }
    if (flag != NULL) {
        *flag = true;
        return;
    }
    double *real = real_of(options, row->bit);
    if (real != NULL) {
        *real = number;
        return;
    }
    switch (row->bit) {
    case OPTION_DIGITS:
        options->digits = (int)number;
        break;
    case OPTION_REPEAT:
        options->repeat = (int)number;
        break;
    case OPTION_DEADLINE:
        options->deadline_ms = number;
        break;
    case OPTION_DURATION:
        options->duration = number;
        break;
    case OPTION_SAMPLES:
        options->samples = (int)number;
        break;
    case OPTION_EVERY:
        options->every_ms = number;
        break;
    case OPTION_COUNT:
        options->count = (int)number;
        break;
    case OPTION_IDENTIFY:
        options->identify[options->identify_count++] = text;
        break;
    case OPTION_EXPECT:
        options->expected = number;
        break;
    case OPTION_WITH:
        options->with[options->with_count++] = text;
        break;
    case OPTION_LIMIT:
        options->limit = (int)number;
        break;
    default:
        break;
    }
}

bool options_take(struct options *options, const struct option_row *row, const char *value,
                  char *problem, unsigned long problem_size)
{
    double number = 0;
    if (row->argument == NULL && value != NULL) {
        snprintf(problem, problem_size, "%s takes no value", row->name);
        return false;
    }
    if (row->argument != NULL && value == NULL) {
        snprintf(problem, problem_size, "%s needs a value: %s %s", row->name, row->name,
                 row->argument);
        return false;
    }
    if (value != NULL && row->maximum > 0 &&
        !check_number(row, value, &number, problem, problem_size))
        return false;
    if (row->bit == OPTION_IDENTIFY && options->identify_count == OPTIONS_MOST_LINKS) {
        snprintf(problem, problem_size, "%s: %d links at most", row->name, OPTIONS_MOST_LINKS);
        return false;
    }
    if (row->bit == OPTION_WITH && options->with_count == OPTIONS_MOST_KEYS) {
        snprintf(problem, problem_size, "%s: %d keys at most", row->name, OPTIONS_MOST_KEYS);
        return false;
    }
    store(options, row, value, number);
    options->given |= row->bit;
    return true;
}

void options_read_file(struct options *options, const struct option_row *row, const char *file)
{
    const char **place = row->bit == OPTION_JSON ? &options->json_file : &options->csv_file;
    *place = file == NULL ? "-" : file;
    options->given |= row->bit;
}
