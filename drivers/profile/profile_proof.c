/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a profile that says how it is proved what a scope's records rest on. */
#include "profile_priv.h"

#include <string.h>

static const char *const names[] = {
#define X(name, text) [SCOPE_##name] = (text),
    SCOPE_SETTING_TABLE(X)
#undef X
};

const char *const profile_scope_proofs[] = {
    [PROOF_BEFORE_AND_AFTER] = "before and after",
    [PROOF_SAME_MESSAGE] = "same message",
    NULL,
};

const char *profile_setting_name(enum scope_setting setting)
{
    return names[setting];
}

size_t profile_query_room(const char *query)
{
    /* A number has at most 19 characters (command_number()), a name in braces 7 at least. */
    enum { GROWTH = 12 };
    size_t places = 0;

    for (const char *at = strchr(query, '{'); at != NULL; at = strchr(at + 1, '{'))
        places++;
    return query[0] != '\0' ? strlen(query) + 1 + places * GROWTH : 0;
}

/* The samples and all that is asked for behind them go in one message. */
static void check_message(const struct profile *profile, const config_setting_t *root,
                          struct problems *problems)
{
    const struct scope *scope = &profile->scope;
    const char *const queries[] = {
        scope->waveform.query,       profile->touch.query,
        scope->calibrated.query,     scope->vertical_check.query,
        scope->timebase_check.query, scope->offset_check.query,
        scope->position_check.query, scope->coupling_checks[0].query,
    };
    size_t length = 0;

    for (size_t i = 0; i < sizeof queries / sizeof *queries; i++)
        length += profile_query_room(queries[i]);
    for (size_t i = 0; i < scope->besides_count; i++)
        length += profile_query_room(scope->besides[i].query);
    length += profile_trigger_room(&scope->trigger);
    if (length > DIALOGUE_LONGEST)
        problems_at(problems, strict_member(root, "proof"),
                    "all queries in the \"same message\" are up to %zu bytes, expected at most %d",
                    length, DIALOGUE_LONGEST);
}

static void read_besides(struct profile_owner *owner, const config_setting_t *root,
                         struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    const config_setting_t *list = strict_list(root, "record_checks");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;

    if (count > PROFILE_MAX_BESIDES) {
        problems_at(problems, list, "\"record_checks\" has %zu elements, expected at most %d",
                    count, PROFILE_MAX_BESIDES);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        scope->besides_count = i + 1;
        profile_read_check(&owner->profile, config_setting_get_elem(list, (unsigned)i),
                           &scope->besides[i], problems);
    }
}

static void read_name(struct scope *scope, const config_setting_t *at, const char *text,
                      struct problems *problems)
{
    for (size_t i = 0; i < SCOPE_SETTINGS; i++) {
        if (strcmp(text, names[i]) == 0) {
            scope->cannot_tell[i] = true;
            return;
        }
    }
    problems_at(problems, at,
                "\"cannot_tell\" has \"%s\", expected vertical, offset, position, coupling or "
                "timebase",
                text);
}

static void read_cannot_tell(struct scope *scope, const config_setting_t *root,
                             struct problems *problems)
{
    const config_setting_t *list = strict_list(root, "cannot_tell");
    char **texts = NULL;
    size_t count = 0;

    if (list == NULL || !strict_texts(list, &texts, &count, problems))
        return;
    for (size_t i = 0; i < count; i++)
        read_name(scope, list, texts[i], problems);
    strict_texts_free(texts, count);
}

/* Silence is no answer: a setting is read back, or the profile says that it cannot be. */
static void check_told(const struct scope *scope, const config_setting_t *root,
                       struct problems *problems)
{
    for (size_t i = 0; i < SCOPE_SETTINGS; i++) {
        const config_setting_t *group = strict_member(root, names[i]);
        bool mute = scope->cannot_tell[i];
        bool asked = group != NULL && (strict_member(group, "query") != NULL ||
                                       strict_member(group, "interval_query") != NULL);
        if (group == NULL ? mute : mute == asked) {
            problems_at(problems, group != NULL ? group : root,
                        "\"%s\" %s, expected either a \"query\" in it or its name in "
                        "\"cannot_tell\"",
                        names[i],
                        group == NULL ? "is not there and cannot tell"
                        : mute        ? "has a query and cannot tell"
                                      : "has no query");
        }
    }
}

void profile_read_proofs(struct profile_owner *owner, const config_setting_t *root,
                         struct problems *problems)
{
    if (owner->profile.proof == PROOF_SAME_MESSAGE &&
        owner->profile.protocol.framing != FRAMING_488)
        problems_at(problems, strict_member(root, "proof"),
                    "\"proof\" is \"same message\", which needs framing = \"488\"");
    read_besides(owner, root, problems);
    read_cannot_tell(&owner->profile.scope, root, problems);
    check_told(&owner->profile.scope, root, problems);
    if (owner->profile.proof == PROOF_SAME_MESSAGE)
        check_message(&owner->profile, root, problems);
}
