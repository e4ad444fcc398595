/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Stanzas that stand for many units under test: with
 * `units = { first = 1; last = 64; }` the texts of a stanza may hold {unit},
 * {unit:02} (with leading zeros) and {unit/8} (the number, from 1, of the
 * block of eight that the unit is in), and an `input` may be a group
 * { first, step, wrap }: after `wrap` units it begins again.
 *
 * The tree itself is made to say what each unit has in turn, so that every
 * check of a stanza works as it does without units, with file and line.
 */
#ifndef GRADUS_DAEMON_SETTINGS_UNITS_H
#define GRADUS_DAEMON_SETTINGS_UNITS_H

#include "settings_priv.h"

enum { UNITS_MOST = 4096 };

struct unit_text;
struct unit_input;

/* One stanza and the units it stands for. */
struct stanza {
    config_setting_t *group;
    bool many;              /* it has units */
    bool wrong;             /* a mistake has been noted in it */
    int first;              /* number of the first unit */
    size_t count;           /* points it comes to: 1 without units, 0: it is wrong */
    char name[BENCH_NAME];  /* as it is written, with the part in braces taken out */
    struct unit_text *text; /* texts with something in braces; owned */
    size_t text_count;
    struct unit_input *input; /* inputs that depend on the unit; owned */
    size_t input_count;
};

/* Reads how many units a stanza has; mistakes are noted. End it with stanza_end(). */
struct stanza stanza_begin(struct settings *settings, config_setting_t *group);

/* Makes the tree say what the unit at `index` (from 0) has. Texts that it had before are gone. */
void stanza_turn(struct settings *settings, const struct stanza *stanza, size_t index);

/* Number of the unit at `index`; 0: the stanza has no units. */
int stanza_unit(const struct stanza *stanza, size_t index);

/* Puts the texts back as they were written and frees what was noted. */
void stanza_end(struct stanza *stanza);

/* Print the keys of `units` and of an `input` that depends on them. */
void settings_print_unit_keys(FILE *out);

#endif
