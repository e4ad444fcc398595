/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reading a libconfig file strictly: every mistake is listed as
 * "file:line: what is wrong, and what was expected", all of them in one go.
 *
 * What the library lets through in silence is looked for in the text first
 * (strict_scan.h). What it cannot know (keys, types, bounds) is checked against
 * tables of `struct strict_key`.
 */
#ifndef GRADUS_DRIVERS_STRICT_H
#define GRADUS_DRIVERS_STRICT_H

#include "problems.h"

#include <libconfig.h>
#include <regex.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* Appends a message at the place where a setting stands. */
void problems_at(struct problems *problems, const config_setting_t *setting, const char *format,
                 ...) __attribute__((format(printf, 3, 4)));

/*
 * Reads a file and all it includes into an initialised config; free it with
 * config_destroy() as ever. False when there is no tree to walk, because the
 * file cannot be read or parsed. Mistakes in the text that leave a tree are
 * noted in `problems` and the answer is true, so that the caller can go on to
 * find more: whether the file is good, problems->total tells.
 */
bool strict_read_file(config_t *config, const char *path, struct problems *problems);

/*
 * As strict_read_file(), from memory; `name` stands for the file in messages
 * and its folder is where relative includes are looked for.
 */
bool strict_read_text(config_t *config, const char *text, size_t length, const char *name,
                      struct problems *problems);

/* The text that was read, includes in place. Lives as long as the config; "" before. */
const char *strict_text(const config_t *config);

enum strict_type {
    STRICT_NUMBER,  /* double: integer or decimal in the file */
    STRICT_INTEGER, /* int: integer in the file */
    STRICT_SIZE,    /* size_t: integer in the file, not negative */
    STRICT_BOOL,
    STRICT_TEXT,    /* char[size]: UTF-8, refused when it does not fit */
    STRICT_CHOICE,  /* int: index into `choices` */
    STRICT_PATTERN, /* regex_t: POSIX extended regular expression; sets the flag at `present` */
    STRICT_GROUP,   /* checked by the caller through strict_group() */
    STRICT_LIST,    /* list or array: walked by the caller */
    STRICT_TEXTS    /* list or array of texts: fetched by the caller through strict_texts() */
};

/* One key of a group: how it is written, what it must be, where it goes. */
struct strict_key {
    const char *name;
    enum strict_type type;
    bool required;
    size_t offset;  /* of the value in the target struct */
    size_t size;    /* STRICT_TEXT: bytes with terminator */
    double minimum; /* of a number as written: inclusive bounds, both 0: none */
    double maximum;
    double scale;               /* STRICT_NUMBER: stored per unit written, 0.01 for %; 0: 1 */
    const char *unit;           /* of a number as written, for messages and help; NULL: none */
    const char *const *choices; /* STRICT_CHOICE: NULL-terminated */
    size_t present;             /* STRICT_PATTERN: offset of a bool set when the key is there */
    const char *(*guess)(const char *text); /* STRICT_CHOICE: which one an other word for it means,
                                               NULL where it means none; NULL: no such words */
    const char *help;
};

/*
 * Reads a group against a table that ends with a key whose name is NULL.
 * Unknown keys, missing required ones, wrong types and values out of bounds
 * are added to `problems`; fields of keys that are absent or wrong are left
 * as they are, so the caller fills in the defaults beforehand. Returns
 * whether the group was without a mistake.
 */
bool strict_group(const config_setting_t *group, const struct strict_key *keys, void *target,
                  struct problems *problems);

/*
 * Puts one table behind another into `keys`, which has room for `capacity`
 * rows, end row included.
 */
void strict_keys_join(struct strict_key *keys, size_t capacity, const struct strict_key *first,
                      const struct strict_key *second);

/* The member of that name, or NULL. */
const config_setting_t *strict_member(const config_setting_t *group, const char *name);

/* The member of that name when it is a list or array, else NULL. */
const config_setting_t *strict_list(const config_setting_t *group, const char *name);

/* Reads a number of either spelling. False, with the problem noted, when it is none. */
bool strict_number(const config_setting_t *setting, double *number, struct problems *problems);

/*
 * Copies the texts of a list or array. `texts` (to be freed one by one and
 * whole, see strict_texts_free()) and `count` are written on success only.
 */
bool strict_texts(const config_setting_t *setting, char ***texts, size_t *count,
                  struct problems *problems);

/* Accepts NULL with a count of 0. */
void strict_texts_free(char **texts, size_t count);

/* Line of a setting in the file it was written in. */
int strict_line(const config_setting_t *setting);

/*
 * Whether the number a setting holds may not be the one that is written there;
 * that has been noted already, and more complaints about it would mislead.
 */
bool strict_doubtful(const config_setting_t *setting);

/* Prints one line a key of a table: name, type, unit, bounds, whether required, help. */
void strict_print_keys(FILE *out, const struct strict_key *keys);

#endif
