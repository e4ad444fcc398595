/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that read settings share. */
#ifndef GRADUS_DAEMON_SETTINGS_PRIV_H
#define GRADUS_DAEMON_SETTINGS_PRIV_H

#include "settings.h"

/* Settings while they are being read. */
struct settings {
    const config_setting_t *root;
    struct bench *bench;
    struct problems *problems;
    char folder[512];                  /* of the profiles */
    char (*profile_names)[BENCH_NAME]; /* that each instrument asks for, found or not */
    double ambient;
};

enum loading_choice { LOADING_CORRECT, LOADING_REPORT, LOADING_DEFAULT };

/* A point as it is written. */
struct point_file {
    struct bench_point point;
    char instrument[BENCH_NAME];
    char probe[BENCH_NAME];
    char reference_probe[BENCH_NAME];
    enum loading_choice loading;
};

/* Everything that is known when a point is checked against its instrument and probe. */
struct point_check {
    const config_setting_t *group; /* where the point is written */
    const struct bench_point *point;
    const struct bench_instrument *instrument;
    const struct probe *probe;
    const struct front_end *input;
    const struct function *function; /* of a meter; NULL: a scope */
    struct problems *problems;
};

/*
 * Whether the text at `key` of `group` can name something: 1 to 63 letters,
 * digits, '_', '.', '-'. If not, that is noted; what is no text at all, or too
 * long, has been noted before.
 */
bool settings_name(const config_setting_t *group, const char *key, struct problems *problems);

/* Notes that a thing of that name is there twice; `first` is where it stood before. */
void settings_duplicate(const config_setting_t *group, const char *kind, const char *name,
                        const config_setting_t *first, struct problems *problems);

/* Whether a text is a day that exists, as YYYY-MM-DD (ISO 8601). */
bool settings_is_date(const char *text);

/* Reads who may do what. */
void settings_read_access(struct settings *settings);

/* Reads where readings are kept. */
void settings_read_store(struct settings *settings);

/* A year: a burn-in that is to last longer is another plan. */
#define SETTINGS_LONGEST_S 31536000.0

/* Notes that no point has a name, with the nearest that one has. */
void settings_no_point(struct settings *settings, const config_setting_t *at, const char *name);

/* Reads a command of the shop, program and arguments, where the group has that key; for free(). */
void settings_read_command(struct settings *settings, const config_setting_t *group,
                           const char *key, char *command[BURNIN_WORDS + 1]);

/* Whether a name means that point: its own, or that of the stanza it is from. */
bool settings_means(const char *name, const struct bench_point *point);

/*
 * Takes the phases of a plan whose points are known. `duration_s` is what the
 * plan says of itself, NAN when it does not; one of the two is expected.
 */
void settings_read_phases(struct settings *settings, const config_setting_t *group,
                          double duration_s, struct bench_burnin *plan);

/* Prints the keys of phases and of their limits. */
void settings_print_phase_keys(FILE *out);

/* Reads the lists of the root into the bench. */
void settings_read_instruments(struct settings *settings);
void settings_read_probes(struct settings *settings);
void settings_read_points(struct settings *settings);
void settings_read_burnins(struct settings *settings);
void settings_read_sheets(struct settings *settings);

/* Reads the blocks of a sheet whose places are known. */
void settings_read_blocks(struct settings *settings, const config_setting_t *group,
                          struct bench_sheet *sheet);

/* Prints the keys of blocks. */
void settings_print_block_keys(FILE *out);

/* Reads one point from its group, against the instruments and probes of the bench. */
void settings_read_point(struct settings *settings, const config_setting_t *group,
                         struct bench_point *point);

/* Reads the tuned circuit of a point's group, NAN where there is none. */
void settings_read_tuned(struct settings *settings, const config_setting_t *group,
                         struct bench_point *point);

/* Reads the limits of a point's group, limits_none() where there are none. */
void settings_read_limits(struct settings *settings, const config_setting_t *group,
                          struct limits *limits);

/* Looks the point up that the limits refer to, once all points are read. */
void settings_read_reference(struct settings *settings, const config_setting_t *group,
                             struct bench_point *point);
/*
 * Finds what the point is measured with: its instrument and probe, or the best of its ways.
 * `good` says that its keys were without a mistake; if not, only names are looked up.
 */
void settings_read_ways(struct settings *settings, const config_setting_t *group,
                        struct point_file *file, bool good);

/* The place of a probe of that name in the bench; false with the nearest name suggested. */
bool settings_find_probe(const struct settings *settings, const config_setting_t *at,
                         const char *name, size_t *index);

/* Reads what a delay or phase is to, once the point's own instrument is known. */
void settings_read_pair(struct settings *settings, const config_setting_t *group,
                        struct point_file *file);

/* Reads what is to be done about mistakes at the bench, and the share of loading to warn of. */
void settings_read_policy(struct settings *settings);

/* Checks a point that is written well against what instrument and probe can do and bear. */
void settings_check_point(const struct point_check *check);

/* Print the keys of their part with type, unit, default and help. */
void settings_print_access_keys(FILE *out);
void settings_print_store_keys(FILE *out);
void settings_print_instrument_keys(FILE *out);
void settings_print_probe_keys(FILE *out);
void settings_print_point_keys(FILE *out);
void settings_print_burnin_keys(FILE *out);
void settings_print_sheet_keys(FILE *out);
void settings_print_limits_keys(FILE *out);
void settings_print_tuned_keys(FILE *out);
void settings_print_way_keys(FILE *out);
void settings_print_policy_keys(FILE *out);

#endif
