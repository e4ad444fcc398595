/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a profile that says how a scope is made to wait for a signal. */
#include "profile_priv.h"

#include <math.h>
#include <regex.h>
#include <string.h>

#define FIELD(name) offsetof(struct trigger_words, name)

enum { FALLING, RISING };

/* Unless the profile says otherwise: all of a record but its last tenth, and a sample either way. */
static const double usual_most_before = 0.9, usual_position_samples = 2.0;

static const struct strict_key keys[] = {
    { .name = "set",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands that make the next start wait, for one record, until {input} passes "
              "{trigger_level} (V at the input; or {trigger_divisions} from the middle of the "
              "screen), with {before} s ({before_divisions}; or {before_share} of it, 0 to 1) of "
              "the record before that" },
    { .name = "rising",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(rising),
      .size = PROFILE_TEXT,
      .help = "... upwards" },
    { .name = "falling",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(falling),
      .size = PROFILE_TEXT,
      .help = "... downwards" },
    { .name = "off",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands after which a start begins the record at once; they end a wait too" },
    { .name = "abort",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands that end a wait for which nothing came" },
    { .name = "source_query",
      .type = STRICT_TEXT,
      .offset = FIELD(source_query),
      .size = PROFILE_TEXT,
      .help = "asks what is waited for" },
    { .name = "source_answer",
      .type = STRICT_TEXT,
      .offset = FIELD(source_answer),
      .size = PROFILE_TEXT,
      .help = "the whole answer to it where that is {input}" },
    { .name = "slope_query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(slopes[RISING].query),
      .size = PROFILE_TEXT,
      .help = "asks for the direction" },
    { .name = "rising_answer",
      .type = STRICT_PATTERN,
      .required = true,
      .offset = FIELD(slopes[RISING].pattern),
      .present = FIELD(slopes[RISING].has_pattern),
      .help = "the whole answer to it where that is upwards" },
    { .name = "falling_answer",
      .type = STRICT_PATTERN,
      .required = true,
      .offset = FIELD(slopes[FALLING].pattern),
      .present = FIELD(slopes[FALLING].has_pattern),
      .help = "... downwards" },
    { .name = "level_query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(level.query),
      .size = PROFILE_TEXT,
      .help = "reads the level back, as it is sent" },
    { .name = "position_query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(position.query),
      .size = PROFILE_TEXT,
      .help = "reads back what lies before the trigger, as it is sent" },
    { .name = "checks",
      .type = STRICT_LIST,
      .help = "groups of \"query\" and \"pattern\" for what else a trigger rests on" },
    { .name = "state_query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(waiting.query),
      .size = PROFILE_TEXT,
      .help = "asks whether it has come; answered at once, whatever it waits for" },
    { .name = "waiting",
      .type = STRICT_PATTERN,
      .required = true,
      .offset = FIELD(waiting.pattern),
      .present = FIELD(waiting.has_pattern),
      .help = "the whole answer while it has not" },
    { .name = "done",
      .type = STRICT_PATTERN,
      .required = true,
      .offset = FIELD(done.pattern),
      .present = FIELD(done.has_pattern),
      .help = "the whole answer once the record is whole" },
    { .name = "level_divisions",
      .type = STRICT_NUMBER,
      .offset = FIELD(level_divisions),
      .minimum = 0.1,
      .maximum = 100.0,
      .unit = "divisions",
      .help = "furthest that a level can be from the middle of the screen; default: to its edge" },
    { .name = "error_divisions",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(error_divisions),
      .maximum = 10.0,
      .unit = "divisions",
      .help = "bound on the error of the level, from the data sheet" },
    { .name = "most_before_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(most_before),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the record",
      .help = "most that can lie before the trigger; default 90" },
    { .name = "position_samples",
      .type = STRICT_NUMBER,
      .offset = FIELD(position_samples),
      .minimum = 1.0,
      .maximum = 1000.0,
      .unit = "samples",
      .help = "bound on where in the record the trigger is; default 2" },
    { .name = NULL },
};

static void check_texts(const struct profile *profile, const config_setting_t *group,
                        struct problems *problems)
{
    const struct trigger_words *trigger = &profile->scope.trigger;
    const struct {
        const char *key;
        const char *text;
    } texts[] = {
        { "rising", trigger->rising },
        { "falling", trigger->falling },
        { "source_query", trigger->source_query },
        { "source_answer", trigger->source_answer },
        { "slope_query", trigger->slopes[RISING].query },
        { "level_query", trigger->level.query },
        { "position_query", trigger->position.query },
        { "state_query", trigger->waiting.query },
    };
    static const char *const patterns[] = { "rising_answer", "falling_answer", "waiting", "done" };

    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        profile_check_command(profile, group, texts[i].key, texts[i].text, CONTEXT_TRIGGER, NULL,
                              problems);
    for (size_t i = 0; i < sizeof patterns / sizeof *patterns; i++)
        profile_check_anchors(group, patterns[i], true, problems);
}

/* Whether one of the texts that arm it holds one of the placeholders. */
static bool says(const struct trigger_words *trigger, const char *const *places)
{
    for (; *places != NULL; places++) {
        if (strstr(trigger->rising, *places) != NULL && strstr(trigger->falling, *places) != NULL)
            return true;
        for (size_t i = 0; i < trigger->set.count; i++)
            if (strstr(trigger->set.texts[i], *places) != NULL)
                return true;
    }
    return false;
}

static void check_said(const struct profile *profile, const config_setting_t *group,
                       struct problems *problems)
{
    static const char *const level[] = { "{trigger_level}", "{trigger_divisions}", NULL };
    static const char *const before[] = { "{before}", "{before_divisions}", "{before_share}",
                                          NULL };
    static const char *const input[] = { "{input}", NULL };
    const struct trigger_words *trigger = &profile->scope.trigger;

    if (!says(trigger, level) || !says(trigger, before) ||
        (profile->inputs > 1 && !says(trigger, input)))
        problems_at(problems, group,
                    "\"set\" does not say all of it, expected {trigger_level}, {before_share} and, "
                    "with several inputs, {input} in it, \"rising\" and \"falling\"");
    if ((trigger->source_query[0] != '\0') != (trigger->source_answer[0] != '\0') ||
        (profile->inputs > 1 && trigger->source_query[0] == '\0'))
        problems_at(problems, group,
                    "expected \"source_query\" and \"source_answer\" together, and both with "
                    "several inputs");
}

static void read_checks(struct profile *profile, const config_setting_t *group,
                        struct problems *problems)
{
    struct trigger_words *trigger = &profile->scope.trigger;
    const config_setting_t *list = strict_list(group, "checks");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;

    if (count > PROFILE_MAX_TRIGGER_CHECKS) {
        problems_at(problems, list, "\"checks\" has %zu elements, expected at most %d", count,
                    PROFILE_MAX_TRIGGER_CHECKS);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        trigger->check_count = i + 1;
        profile_read_check(profile, config_setting_get_elem(list, (unsigned)i), &trigger->checks[i],
                           problems);
    }
}

void profile_read_trigger(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems)
{
    struct profile *profile = &owner->profile;
    struct trigger_words *trigger = &profile->scope.trigger;
    const config_setting_t *group = strict_member(root, "trigger");

    if (group == NULL || !config_setting_is_group(group))
        return;
    trigger->level_divisions = profile->scope.divisions / 2.0;
    trigger->most_before = usual_most_before;
    trigger->position_samples = usual_position_samples;
    strict_group(group, keys, trigger, problems);
    profile_read_commands(profile, group, "set", CONTEXT_TRIGGER, &trigger->set, problems);
    profile_read_commands(profile, group, "off", CONTEXT_SCOPE, &trigger->off, problems);
    profile_read_commands(profile, group, "abort", CONTEXT_SCOPE, &trigger->abort, problems);
    check_texts(profile, group, problems);
    check_said(profile, group, problems);
    read_checks(profile, group, problems);
    memcpy(trigger->slopes[FALLING].query, trigger->slopes[RISING].query, PROFILE_TEXT);
    memcpy(trigger->done.query, trigger->waiting.query, PROFILE_TEXT);
}

static void free_check(struct check *check)
{
    if (check->has_pattern)
        regfree(&check->pattern);
}

void profile_free_trigger(struct trigger_words *trigger)
{
    strict_texts_free(trigger->set.texts, trigger->set.count);
    strict_texts_free(trigger->off.texts, trigger->off.count);
    strict_texts_free(trigger->abort.texts, trigger->abort.count);
    free_check(&trigger->slopes[FALLING]);
    free_check(&trigger->slopes[RISING]);
    free_check(&trigger->waiting);
    free_check(&trigger->done);
    for (size_t i = 0; i < trigger->check_count; i++)
        free_check(&trigger->checks[i]);
}

size_t profile_trigger_room(const struct trigger_words *trigger)
{
    size_t room =
        profile_query_room(trigger->source_query) + profile_query_room(trigger->slopes[0].query) +
        profile_query_room(trigger->level.query) + profile_query_room(trigger->position.query);

    for (size_t i = 0; i < trigger->check_count; i++)
        room += profile_query_room(trigger->checks[i].query);
    return room;
}

void profile_print_trigger_keys(FILE *out)
{
    fprintf(out, "trigger:\n");
    strict_print_keys(out, keys);
}
