/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The options of the command, all in one table: they may stand before or
 * after the subcommand, so how an option is written cannot depend on it.
 */
#ifndef GRADUS_TOOLS_OPTIONS_H
#define GRADUS_TOOLS_OPTIONS_H

#include <stdbool.h>

/* One bit an option, to say which go with a subcommand and which were given. */
enum option {
    OPTION_SOCKET = 1 << 0,
    OPTION_JSON = 1 << 1,
    OPTION_CSV = 1 << 2,
    OPTION_DIGITS = 1 << 3,
    OPTION_QUIET = 1 << 4,
    OPTION_HELP = 1 << 5,
    OPTION_REPEAT = 1 << 6,
    OPTION_DEADLINE = 1 << 7,
    OPTION_ALL = 1 << 8,
    OPTION_DURATION = 1 << 9,
    OPTION_SAMPLES = 1 << 10,
    OPTION_EVERY = 1 << 11,
    OPTION_COUNT = 1 << 12,
    OPTION_ASCII = 1 << 13,
    OPTION_VERSION = 1 << 14,
    OPTION_SCAN = 1 << 15,
    OPTION_IDENTIFY = 1 << 16,
    OPTION_LINE = 1 << 17,
    OPTION_PROFILES = 1 << 18,
    OPTION_SINCE = 1 << 19,
    OPTION_UNTIL = 1 << 20,
    OPTION_LIMIT = 1 << 21,
    OPTION_RUN = 1 << 22,
    OPTION_VERIFY = 1 << 23,
    OPTION_HTML = 1 << 24,
    OPTION_PDF = 1 << 25,
    OPTION_WATCH = 1 << 26
};

/* Options that go with every subcommand. */
enum {
    OPTIONS_GLOBAL = OPTION_SOCKET | OPTION_JSON | OPTION_CSV | OPTION_DIGITS | OPTION_QUIET |
                     OPTION_HELP | OPTION_VERSION
};

/* Most links to be identified by one command. */
enum { OPTIONS_MOST_LINKS = 64 };

/* What was asked for; what was not given holds its default. */
struct options {
    unsigned given; /* bits of enum option */
    const char *socket;
    bool json;
    bool csv;
    bool quiet;
    bool help;
    bool version;
    bool all;
    bool ascii;
    bool verify;
    bool watch;
    const char *since; /* moments; NULL: no bound */
    const char *until;
    const char *run;  /* name; NULL: of any run or none */
    const char *html; /* files to write, "-" standard output; NULL: none */
    const char *pdf;
    const char *json_file;
    const char *csv_file;
    int digits;         /* of the uncertainty */
    int repeat;         /* readings to average */
    int samples;        /* most samples to return; 0: all */
    int count;          /* readings a point, 0: until interrupted */
    int limit;          /* most readings out of the store; 0: the default */
    double deadline_ms; /* for each reading */
    double duration;    /* seconds; NAN: the point's own */
    double every_ms;    /* from reading to reading */
    bool scan;
    const char *identify[OPTIONS_MOST_LINKS]; /* links to be identified */
    int identify_count;
    const char *line;     /* how a serial line is set; NULL: the default */
    const char *profiles; /* folder; NULL: the shipped ones */
};

/* How an option is written and checked. */
struct option_row {
    const char *name; /* with its dashes; NULL ends the table */
    enum option bit;
    const char *argument; /* what the value is called; NULL: takes none */
    double minimum;       /* of a number, inclusive; both 0 where the value is text */
    double maximum;
    bool whole; /* a whole number */
    const char *help;
};

/* The table of all options. */
const struct option_row *options_table(void);

/* The defaults; the socket is taken from GRADUS_SOCKET where that is set. */
struct options options_default(void);

/* The row of an option by its name with dashes ("-h" for "--help"); NULL when there is none. */
const struct option_row *options_find(const char *name);

/* The option whose name is at most two edits away; NULL when there is none. */
const char *options_nearest(const char *name);

/*
 * Takes an option in. `value` NULL for one without. False, with a sentence in
 * `problem`, when the value is missing, is not wanted, or is out of bounds.
 */
bool options_take(struct options *options, const struct option_row *row, const char *value,
                  char *problem, unsigned long problem_size);

/* Takes --json or --csv in as one that names a file; NULL: standard output. */
void options_read_file(struct options *options, const struct option_row *row, const char *file);

#endif
