/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The options of the command, all in one table: they may stand before or
 * after the subcommand, so how an option is written cannot depend on it.
 */
#ifndef GRADUS_TOOLS_OPTIONS_H
#define GRADUS_TOOLS_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* One bit an option, to say which go with a subcommand and which were given. */
#define OPTION_SOCKET   (UINT64_C(1) << 0)
#define OPTION_JSON     (UINT64_C(1) << 1)
#define OPTION_CSV      (UINT64_C(1) << 2)
#define OPTION_DIGITS   (UINT64_C(1) << 3)
#define OPTION_QUIET    (UINT64_C(1) << 4)
#define OPTION_HELP     (UINT64_C(1) << 5)
#define OPTION_REPEAT   (UINT64_C(1) << 6)
#define OPTION_DEADLINE (UINT64_C(1) << 7)
#define OPTION_ALL      (UINT64_C(1) << 8)
#define OPTION_DURATION (UINT64_C(1) << 9)
#define OPTION_SAMPLES  (UINT64_C(1) << 10)
#define OPTION_EVERY    (UINT64_C(1) << 11)
#define OPTION_COUNT    (UINT64_C(1) << 12)
#define OPTION_ASCII    (UINT64_C(1) << 13)
#define OPTION_VERSION  (UINT64_C(1) << 14)
#define OPTION_SCAN     (UINT64_C(1) << 15)
#define OPTION_IDENTIFY (UINT64_C(1) << 16)
#define OPTION_LINE     (UINT64_C(1) << 17)
#define OPTION_PROFILES (UINT64_C(1) << 18)
#define OPTION_SINCE    (UINT64_C(1) << 19)
#define OPTION_UNTIL    (UINT64_C(1) << 20)
#define OPTION_LIMIT    (UINT64_C(1) << 21)
#define OPTION_RUN      (UINT64_C(1) << 22)
#define OPTION_VERIFY   (UINT64_C(1) << 23)
#define OPTION_HTML     (UINT64_C(1) << 24)
#define OPTION_PDF      (UINT64_C(1) << 25)
#define OPTION_WATCH    (UINT64_C(1) << 26)
#define OPTION_PROBE    (UINT64_C(1) << 27)
#define OPTION_EXPECT   (UINT64_C(1) << 28)
#define OPTION_LIMITS   (UINT64_C(1) << 29)
#define OPTION_WITH     (UINT64_C(1) << 30)
#define OPTION_FOLLOW   (UINT64_C(1) << 31)
#define OPTION_WRITE    (UINT64_C(1) << 32)
#define OPTION_SETTINGS (UINT64_C(1) << 33)
#define OPTION_CA       (UINT64_C(1) << 34)
#define OPTION_IDENTITY (UINT64_C(1) << 35)
#define OPTION_JOB      (UINT64_C(1) << 40)
#define OPTION_SERIAL   (UINT64_C(1) << 41)
#define OPTION_STAGE    (UINT64_C(1) << 42)
#define OPTION_PLAIN    (UINT64_C(1) << 43)
#define OPTION_ALOUD    (UINT64_C(1) << 44)
#define OPTION_ANEW     (UINT64_C(1) << 45)
#define OPTION_SERIALS  (UINT64_C(1) << 46)
#define OPTION_WHEN     (UINT64_C(1) << 55)
#define OPTION_BEFORE   (UINT64_C(1) << 56)
#define OPTION_AFTER    (UINT64_C(1) << 57)
#define OPTION_FOR      (UINT64_C(1) << 59)
#define OPTION_WAIT     (UINT64_C(1) << 58)
#define OPTION_COMPARE  (UINT64_C(1) << 52)
#define OPTION_COVERAGE (UINT64_C(1) << 53)
#define OPTION_SURENESS (UINT64_C(1) << 54)

/* Options that go with every subcommand. */
#define OPTIONS_GLOBAL                                                                             \
    (OPTION_SOCKET | OPTION_JSON | OPTION_CSV | OPTION_DIGITS | OPTION_QUIET | OPTION_HELP |       \
     OPTION_CA | OPTION_IDENTITY | OPTION_VERSION)

/* Most links to be identified, and most keys of a point, in one command. */
enum { OPTIONS_MOST_LINKS = 64, OPTIONS_MOST_KEYS = 32 };

/* What was asked for; what was not given holds its default. */
struct options {
    uint64_t given; /* bits of the options */
    const char *socket;
    const char *ca;       /* what the daemon is known by over TCP; NULL: no TLS */
    const char *identity; /* what the daemon knows the command by; NULL: no certificate */
    bool json;
    bool csv;
    bool quiet;
    bool help;
    bool version;
    bool all;
    bool ascii;
    bool verify;
    bool watch;
    bool plain;
    bool aloud;
    bool anew;
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
    const char *when;   /* what is waited for; NULL: nothing */
    double before;      /* seconds before and behind it; NAN: not said */
    double after;
    double lasts;    /* seconds to go on; NAN: until SIGINT */
    double wait;     /* seconds to wait */
    double every_ms; /* from reading to reading */
    bool scan;
    const char *identify[OPTIONS_MOST_LINKS]; /* links to be identified */
    int identify_count;
    const char *line;     /* how a serial line is set; NULL: the default */
    const char *profiles; /* folder; NULL: the shipped ones */
    const char *write;    /* settings file to make; NULL: none */
    const char *settings; /* of a daemon of one's own; NULL: the one that runs */
    const char *job;      /* name or file; NULL: none */
    const char *serial;   /* number of the unit; NULL: not said */
    const char *serials;  /* file of them, "-" standard input; NULL: none */
    const char *stage;    /* "before" or "after"; NULL: not said */
    const char *compare;  /* serial number of a unit beside others; NULL: none */
    double coverage;      /* per cent */
    double confidence;
    bool follow;
    const char *probe;                   /* name; NULL: a plain connection */
    double expected;                     /* at the tip; NAN: not said */
    const char *limits;                  /* as they were written; NULL: none */
    const char *with[OPTIONS_MOST_KEYS]; /* other keys of a point, KEY=VALUE */
    int with_count;
};

/* How an option is written and checked. */
struct option_row {
    const char *name; /* with its dashes; NULL ends the table */
    uint64_t bit;
    const char *argument; /* what the value is called; NULL: takes none */
    double minimum;       /* of a number, inclusive; both 0 where the value is text */
    double maximum;
    bool whole; /* a whole number */
    const char *help;
    size_t place; /* of a text in struct options; 0: the option is no text of its own */
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
