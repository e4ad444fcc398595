/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that read profiles share. */
#ifndef GRADUS_DRIVERS_PROFILE_PRIV_H
#define GRADUS_DRIVERS_PROFILE_PRIV_H

#include "profile.h"

/* A profile and what it owns besides; profile_free() gets back to it from the profile. */
struct profile_owner {
    struct profile profile; /* first, so that both have one address */
    bool has_identity;      /* the patterns of the protocol that have been compiled */
    bool has_error_none;
    struct range *ranges[PROFILE_MAX_FUNCTIONS]; /* of each function; of a scope the first */
};

/* What the placeholders of a command text may name, by where it is used. */
enum command_context { CONTEXT_BARE, CONTEXT_METER, CONTEXT_SCOPE, CONTEXT_TRIGGER };

/*
 * Checks a command text read from `key` of `group`: placeholders that are
 * known and have a value there, at least one of `needed` (NULL-terminated, or
 * NULL: none needed), no terminator inside. An empty text is none and passes.
 * Returns whether it is good; if not, that has been noted.
 */
bool profile_check_command(const struct profile *profile, const config_setting_t *group,
                           const char *key, const char *text, enum command_context context,
                           const char *const *needed, struct problems *problems);

/* Reads the list of command texts at `key`, checking each; leaves `commands` when it is absent. */
void profile_read_commands(const struct profile *profile, const config_setting_t *group,
                           const char *key, enum command_context context, struct commands *commands,
                           struct problems *problems);

/* Checks that a pattern text at `key` of `group`, where there is one, matches whole answers. */
void profile_check_anchors(const config_setting_t *group, const char *key, bool to_the_end,
                           struct problems *problems);

/* Reads a group of `query` and `pattern`, both needed. */
void profile_read_check(const struct profile *profile, const config_setting_t *group,
                        struct check *check, struct problems *problems);

/* As profile_read_check(), of the group at `key`; nothing when it is absent. */
void profile_parse_check(const struct profile *profile, const config_setting_t *group,
                         const char *key, struct check *check, struct problems *problems);

/* Notes a key that is missing in `group` because of what else is there. */
void profile_missing(const config_setting_t *group, const char *key, const char *why,
                     struct problems *problems);

/* A range about which nothing is known yet. */
struct range profile_range_unknown(void);

/* What must be stated together about a range's accuracy and input. */
void profile_check_range(const config_setting_t *group, const struct range *range,
                         struct problems *problems);

/*
 * Reads a list of numbers above 0 in ascending order. Returns how many there
 * were, at most `capacity`; every mistake is noted.
 */
size_t profile_read_ascending(const config_setting_t *list, double *numbers, size_t capacity,
                              struct problems *problems);

/* The parts: each reads its groups of the root into the profile. */
void profile_read_dialogue(struct profile_owner *owner, const config_setting_t *root,
                           struct problems *problems);
/* Reads the parts of a profile that only a meter, or only a scope, has. */
void profile_read_meter(struct profile_owner *owner, const config_setting_t *root,
                        struct problems *problems);
void profile_read_scope(struct profile_owner *owner, const config_setting_t *root,
                        struct problems *problems);

/* What profile_read_scope() hands on: the samples' coding (needed first), and the record. */
void profile_read_waveform(struct profile_owner *owner, const config_setting_t *root,
                           struct problems *problems);
/* Reads time base, acquisition and waveform of a scope. */
void profile_read_record(struct profile_owner *owner, const config_setting_t *root,
                         struct problems *problems);

/* Reads how a scope is triggered, where the profile says so. */
void profile_read_trigger(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems);
/* Frees what that made. */
void profile_free_trigger(struct trigger_words *trigger);
/* The most that a trigger's queries take of a message. */
size_t profile_trigger_room(const struct trigger_words *trigger);

/*
 * Reads what the record rests on besides, and what the scope cannot be asked for; every group of
 * settings must have a query or be named there. The other groups have been read.
 */
void profile_read_proofs(struct profile_owner *owner, const config_setting_t *root,
                         struct problems *problems);

/* Reads the group at `key` into the scope; false when there is nothing to check in it. */
bool profile_read_group(struct scope *scope, const config_setting_t *root, const char *key,
                        const struct strict_key *keys, const config_setting_t **group,
                        struct problems *problems);

/* Checks a command about an input: it must say which, where there are several. Whether it does. */
bool profile_check_input_command(const struct profile *profile, const config_setting_t *group,
                                 const char *key, const char *text, struct problems *problems);

/* The ways to prove a reading, and a record, in the order of enum proof_kind, NULL at the end. */
extern const char *const profile_proofs[];
extern const char *const profile_scope_proofs[];

/* The most that a query takes of a message, its placeholders filled in; 0 where there is none. */
size_t profile_query_room(const char *query);

/* Keeps the form that numbers have in range `i`; it must be digits with at most one point. */
void profile_read_form(struct function *function, size_t i, const char *form,
                       const config_setting_t *group, struct problems *problems);

/* Notes what keeps a meter, of which everything else was read, from being proved as it states. */
void profile_check_proof(const struct profile *profile, const config_setting_t *root,
                         struct problems *problems);

/* Reads the list of what crest factors cost a meter's function, where there is one. */
void profile_read_crest_errors(struct function *function, const config_setting_t *group,
                               struct problems *problems);

/* Print the keys of their part with type, unit, default and help. */
void profile_print_dialogue_keys(FILE *out);
void profile_print_meter_keys(FILE *out);
void profile_print_crest_keys(FILE *out);
void profile_print_scope_keys(FILE *out);
void profile_print_record_keys(FILE *out);
void profile_print_trigger_keys(FILE *out);

/*
 * Rows about accuracy and input that meter ranges and scope inputs share, for
 * targets that begin with a struct range.
 */
extern const struct strict_key profile_accuracy_keys[];

enum { PROFILE_KEYS = 32 };

#endif
