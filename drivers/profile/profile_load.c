/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "profile.h"

#include "drivers/basics/digest.h"
#include "drivers/cfg/slurp.h"
#include "profile_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const kinds[] = { [PROFILE_METER] = "meter", [PROFILE_SCOPE] = "scope", NULL };

static const struct strict_key common_keys[] = {
    { .name = "description",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct profile, description),
      .size = PROFILE_TEXT,
      .help = "what type of instrument this is" },
    { .name = "kind",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = offsetof(struct profile, kind),
      .choices = kinds,
      .help = "what it is" },
    { .name = "dialogue",
      .type = STRICT_GROUP,
      .required = true,
      .help = "how it wants to be talked to" },
    { .name = "serial", .type = STRICT_GROUP, .help = "default of serial links" },
    { .name = "setup",
      .type = STRICT_TEXTS,
      .help = "commands sent whenever it may have lost its settings" },
    { .name = "local", .type = STRICT_TEXTS, .help = "commands sent before the link is closed" },
    { .name = "max_input",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct profile, max_input),
      .minimum = 1e-3,
      .maximum = 1e6,
      .unit = "V peak",
      .help = "rating of the bare input" },
    { .name = "inputs",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct profile, inputs),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help = "how many there are; default 1" },
    { .name = "inputs_per_card",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct profile, inputs_per_card),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help =
          "how many neighbours share an input card, from input 1 on: what moves together on one "
          "is told as the card's; default not stated" },
    { .name = "locks_panel",
      .type = STRICT_BOOL,
      .offset = offsetof(struct profile, locks_panel),
      .help = "nobody can change a setting at the instrument: one proof after each change of "
              "ours is enough" },
    { .name = "touched",
      .type = STRICT_GROUP,
      .help = "what tells that somebody was at its panel, asked for with each proof: a setting "
              "that was changed and changed back shows nowhere else" },
    { .name = NULL },
};

static const struct strict_key touched_keys[] = {
    { .name = "query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct profile, touch.query),
      .size = PROFILE_TEXT,
      .help = "asks for it" },
    { .name = "mask",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct profile, touch.mask),
      .minimum = 1,
      .maximum = TOUCH_MASK_MAX,
      .help = "bits of a register that reading clears, of which none may be set behind a "
              "reading; 192 of the standard event status register (*ESR?) are user request and "
              "power on. Left out: the answer is a count, or a time, that a change changes" },
    { .name = NULL },
};

static const struct strict_key meter_keys[] = {
    { .name = "route",
      .type = STRICT_TEXT,
      .offset = offsetof(struct profile, route),
      .size = PROFILE_TEXT,
      .help = "command that connects {input}" },
    { .name = "route_query",
      .type = STRICT_TEXT,
      .offset = offsetof(struct profile, route_query),
      .size = PROFILE_TEXT,
      .help = "asks which input is connected" },
    { .name = "route_answer",
      .type = STRICT_TEXT,
      .offset = offsetof(struct profile, route_answer),
      .size = PROFILE_TEXT,
      .help = "the whole answer to it when {input} is connected" },
    { .name = "proof",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct profile, proof),
      .choices = profile_proofs,
      .help = "how each reading is proved to be of the input, function and range that were set: "
              "by queries \"before and after\" it (the default), by queries in the \"same "
              "message\", by the words and the form of its \"answer\", or \"none\" where "
              "nothing can be asked" },
    { .name = "functions",
      .type = STRICT_LIST,
      .required = true,
      .help = "one group for each quantity it measures" },
    { .name = NULL },
};

static const struct strict_key scope_keys[] = {
    { .name = "divisions",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct profile, scope.divisions),
      .minimum = 1.0,
      .maximum = 100.0,
      .unit = "divisions",
      .help = "height of the screen" },
    { .name = "time_divisions",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct profile, scope.time_divisions),
      .minimum = 1.0,
      .maximum = 100.0,
      .unit = "divisions",
      .help = "width of the screen" },
    { .name = "proof",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct profile, proof),
      .choices = profile_scope_proofs,
      .help = "how each record is proved to be of what was set: by queries \"before and after\" "
              "it, each in a message of its own (the default), or all of a side in the \"same "
              "message\", behind it in that of the samples" },
    { .name = "bandwidth",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct profile, scope.bandwidth),
      .minimum = 1.0,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "-3 dB of the inputs; left out where it is not known" },
    { .name = "vertical", .type = STRICT_GROUP, .required = true, .help = "the vertical system" },
    { .name = "offset",
      .type = STRICT_GROUP,
      .help = "calibrated offset; left out where there is none" },
    { .name = "position",
      .type = STRICT_GROUP,
      .help = "position of the zero trace; left out where it cannot be set" },
    { .name = "coupling", .type = STRICT_GROUP, .required = true, .help = "input coupling" },
    { .name = "timebase", .type = STRICT_GROUP, .required = true, .help = "the time base" },
    { .name = "acquisition",
      .type = STRICT_GROUP,
      .required = true,
      .help = "how a record is taken" },
    { .name = "waveform", .type = STRICT_GROUP, .required = true, .help = "what the samples mean" },
    { .name = "trigger",
      .type = STRICT_GROUP,
      .help = "how a record is made to wait for a signal; left out where that cannot be" },
    { .name = "settle_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct profile, scope.settle_ms),
      .maximum = 60e3,
      .unit = "ms",
      .help = "wait after a change of range, offset or coupling" },
    { .name = "record_checks",
      .type = STRICT_LIST,
      .help = "groups of \"query\" and \"pattern\" for what else a record rests on, such as the "
              "factor, inversion or averaging set at the scope" },
    { .name = "cannot_tell",
      .type = STRICT_TEXTS,
      .help =
          "the groups among vertical, offset, position, coupling and timebase that have no "
          "query because the scope cannot be asked; their commands are sent before each record" },
    { .name = NULL },
};

/* The file's name without folder and ".cfg". */
static void read_name(struct profile *profile, const char *path, struct problems *problems)
{
    const char *slash = strrchr(path, '/');
    const char *base = slash != NULL ? slash + 1 : path;
    const char *suffix = strstr(base, ".cfg");
    size_t length = suffix != NULL ? (size_t)(suffix - base) : strlen(base);

    if (length == 0 || length >= sizeof profile->name || strlen(path) >= sizeof profile->path) {
        problems_add(problems, path, 0, "too long a name, expected at most %zu bytes before .cfg",
                     sizeof profile->name - 1);
        return;
    }
    memcpy(profile->name, base, length);
    profile->name[length] = '\0';
    snprintf(profile->path, sizeof profile->path, "%s", path);
}

static struct profile_owner *owner_new(void)
{
    struct profile_owner *owner = calloc(1, sizeof *owner);

    if (owner != NULL) {
        owner->profile.line = serial_line_default();
        owner->profile.max_input = NAN;
        owner->profile.scope.bandwidth = NAN;
        owner->profile.scope.timebase_error = NAN;
        owner->profile.scope.skew = NAN;
        owner->profile.inputs = 1;
    }
    return owner;
}

/* Which keys there are depends on the kind, so that is looked at first. */
static bool read_kind(struct profile *profile, const config_setting_t *root,
                      struct problems *problems)
{
    const config_setting_t *member = strict_member(root, "kind");
    const char *text = member != NULL ? config_setting_get_string(member) : NULL;

    for (int i = 0; text != NULL && kinds[i] != NULL; i++) {
        if (strcmp(text, kinds[i]) == 0) {
            profile->kind = (enum profile_kind)i;
            return true;
        }
    }
    if (text != NULL) {
        problems_at(problems, member, "\"kind\" is \"%s\", expected \"meter\" or \"scope\"", text);
    } else {
        problems_at(problems, member != NULL ? member : root,
                    "expected a key \"kind\" that is \"meter\" or \"scope\"");
    }
    return false;
}

static void read_touched(struct profile *profile, const config_setting_t *root,
                         struct problems *problems)
{
    const config_setting_t *group = strict_member(root, "touched");

    if (group == NULL || !config_setting_is_group(group))
        return;
    strict_group(group, touched_keys, profile, problems);
    profile_check_command(profile, group, "query", profile->touch.query, CONTEXT_BARE, NULL,
                          problems);
    if (profile->proof == PROOF_NONE)
        problems_at(problems, group, "\"touched\" with proof = \"none\", expected another proof");
}

static void read_root(struct profile_owner *owner, const config_setting_t *root,
                      struct problems *problems)
{
    struct profile *profile = &owner->profile;
    struct strict_key keys[PROFILE_KEYS];

    if (!read_kind(profile, root, problems))
        return;
    bool meter = profile->kind == PROFILE_METER;
    strict_keys_join(keys, PROFILE_KEYS, common_keys, meter ? meter_keys : scope_keys);
    strict_group(root, keys, profile, problems);
    profile_read_dialogue(owner, root, problems);
    const config_setting_t *serial = strict_member(root, "serial");
    if (serial != NULL && config_setting_is_group(serial))
        profile_serial(serial, &profile->line, problems);
    profile_read_commands(profile, root, "setup", CONTEXT_BARE, &profile->setup, problems);
    profile_read_commands(profile, root, "local", CONTEXT_BARE, &profile->local, problems);
    read_touched(profile, root, problems);
    if (meter)
        profile_read_meter(owner, root, problems);
    else
        profile_read_scope(owner, root, problems);
    if (profile->inputs_per_card > profile_inputs(profile)) {
        problems_at(problems, strict_member(root, "inputs_per_card"),
                    "\"inputs_per_card\" is %d, expected 1 to %d: there are no more inputs",
                    profile->inputs_per_card, profile_inputs(profile));
    }
}

struct profile *profile_read(const char *text, size_t length, const char *path,
                             struct problems *problems)
{
    size_t before = problems->total;
    struct profile_owner *owner = owner_new();
    config_t config;

    if (owner == NULL) {
        problems_add(problems, path, 0, "no memory");
        return NULL;
    }
    config_init(&config);
    read_name(&owner->profile, path, problems);
    if (strict_read_text(&config, text, length, path, problems)) {
        read_root(owner, config_root_setting(&config), problems);
        const char *whole = strict_text(&config);
        digest_bytes(whole, strlen(whole), owner->profile.digest);
        owner->profile.text = strdup(whole);
        if (owner->profile.text == NULL)
            problems_add(problems, path, 0, "no memory");
    }
    config_destroy(&config);
    if (problems->total > before) {
        profile_free(&owner->profile);
        return NULL;
    }
    return &owner->profile;
}

const char *profile_folder(void)
{
    return GRADUS_PROFILES;
}

struct profile *profile_load(const char *path, struct problems *problems)
{
    size_t length = 0;
    char *text = slurp(path, &length, NULL, 0, problems);

    if (text == NULL)
        return NULL;
    struct profile *profile = profile_read(text, length, path, problems);
    free(text);
    return profile;
}

static void free_commands(struct commands *commands)
{
    strict_texts_free(commands->texts, commands->count);
}

static void free_check(struct check *check)
{
    if (check->has_pattern)
        regfree(&check->pattern);
}

static void free_function(struct function *function)
{
    free_commands(&function->select);
    free_commands(&function->range_selects);
    free_check(&function->select_check);
    free_check(&function->auto_check);
    free_check(&function->range_check);
    if (function->answer.has_pattern)
        regfree(&function->answer.pattern);
    if (function->answer.has_overload)
        regfree(&function->answer.overload);
}

static void free_protocol(struct profile_owner *owner)
{
    struct protocol *protocol = &owner->profile.protocol;

    if (protocol->acknowledges)
        regfree(&protocol->acknowledge);
    if (protocol->has_refusal)
        regfree(&protocol->refusal);
    if (owner->has_identity)
        regfree(&protocol->identity);
    if (owner->has_error_none)
        regfree(&protocol->error_none);
}

static void free_scope(struct scope *scope)
{
    free_commands(&scope->timebase);
    free_commands(&scope->acquire);
    free_check(&scope->calibrated);
    free_check(&scope->done);
    profile_free_trigger(&scope->trigger);
    for (size_t i = 0; i < sizeof scope->coupling_checks / sizeof *scope->coupling_checks; i++)
        free_check(&scope->coupling_checks[i]);
    for (size_t i = 0; i < scope->besides_count; i++)
        free_check(&scope->besides[i]);
}

void profile_free(struct profile *profile)
{
    struct profile_owner *owner = (struct profile_owner *)profile;

    if (profile == NULL)
        return;
    free_protocol(owner);
    free(profile->text);
    free_commands(&profile->setup);
    free_commands(&profile->local);
    for (size_t i = 0; i < profile->function_count; i++)
        free_function(&profile->functions[i]);
    free_scope(&profile->scope);
    for (size_t i = 0; i < PROFILE_MAX_FUNCTIONS; i++)
        free(owner->ranges[i]);
    free(owner);
}

void profile_print_keys(FILE *out)
{
    fprintf(out, "profile:\n");
    strict_print_keys(out, common_keys);
    fprintf(out, "touched:\n");
    strict_print_keys(out, touched_keys);
    fprintf(out, "profile of a meter, besides:\n");
    strict_print_keys(out, meter_keys);
    fprintf(out, "profile of a scope, besides:\n");
    strict_print_keys(out, scope_keys);
    profile_print_dialogue_keys(out);
    profile_print_meter_keys(out);
    profile_print_scope_keys(out);
}
