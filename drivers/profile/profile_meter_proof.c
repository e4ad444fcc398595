/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a meter's profile says of how a reading is proved to be the one that was asked for. */
#include "profile_priv.h"

#include <stdio.h>
#include <string.h>

const char *const profile_proofs[] = {
    [PROOF_BEFORE_AND_AFTER] = "before and after",
    [PROOF_SAME_MESSAGE] = "same message",
    [PROOF_ANSWER_ITSELF] = "answer",
    [PROOF_NONE] = "none",
    NULL,
};

void profile_read_form(struct function *function, size_t i, const char *form,
                       const config_setting_t *group, struct problems *problems)
{
    const char *point = strchr(form, '.');

    if (form[0] == '\0')
        return;
    if (form[strspn(form, "0.")] != '\0' || (point != NULL && strchr(point + 1, '.') != NULL)) {
        problems_at(problems, strict_member(group, "shows"),
                    "\"shows\" is \"%s\", expected a 0 for each digit and at most one point", form);
    }
    if (!function->answer.has_pattern) {
        problems_at(problems, strict_member(group, "shows"),
                    "\"shows\" without \"answer\", which says where the number is");
    }
    for (size_t k = 0; k < i; k++) {
        if (strcmp(function->shows[k], form) == 0) {
            problems_at(problems, strict_member(group, "shows"),
                        "\"shows\" is \"%s\" as in a smaller range, expected another form", form);
        }
    }
    snprintf(function->shows[i], sizeof function->shows[i], "%s", form);
}

static bool asks_function(const struct profile *profile, const struct function *function)
{
    return function->select_check.query[0] != '\0' ||
           (profile->proof == PROOF_ANSWER_ITSELF && function->answer.has_pattern);
}

/* Whether the range shows itself, in an answer or in the number of every reading. */
static bool asks_range(const struct function *function)
{
    if (function->range_check.query[0] != '\0' || function->front_end.count < 2)
        return true;
    for (size_t i = 0; i < function->front_end.count; i++)
        if (function->shows[i][0] == '\0')
            return false;
    return true;
}

static bool asks_input(const struct profile *profile)
{
    return profile->inputs < 2 || profile->route_query[0] != '\0';
}

const char *profile_unproved(const struct profile *profile, const struct function *function,
                             char *text, size_t size)
{
    const char *input = asks_input(profile) ? "" : "which input";
    const char *made = asks_function(profile, function) ? "" : "which function";
    const char *range = asks_range(function) ? "" : "which range";
    const char *first = input[0] != '\0' && (made[0] != '\0' || range[0] != '\0') ? ", " : "";
    const char *second = made[0] != '\0' && range[0] != '\0' ? ", " : "";

    snprintf(text, size, "%s%s%s%s%s", input, first, made, second, range);
    return text;
}

/* Whether the way of proving is one that the profile states and that asks for something. */
static bool promises(const struct profile *profile, const config_setting_t *root)
{
    return strict_member(root, "proof") != NULL && profile->proof != PROOF_NONE;
}

static void check_route(const struct profile *profile, const config_setting_t *root,
                        struct problems *problems)
{
    bool message = profile->proof == PROOF_SAME_MESSAGE;

    if (message && profile->protocol.framing != FRAMING_488) {
        problems_at(problems, strict_member(root, "proof"),
                    "\"proof\" is \"same message\", which needs framing = \"488\"");
    }
    if (profile->proof == PROOF_NONE && profile->locks_panel) {
        problems_at(problems, strict_member(root, "locks_panel"),
                    "\"locks_panel\" with proof = \"none\", expected a proof to be made once");
    }
    if (profile->proof == PROOF_NONE && profile->route_query[0] != '\0') {
        problems_at(problems, strict_member(root, "proof"),
                    "\"proof\" is \"none\", but there is a route_query");
    }
    if (promises(profile, root) && profile->proof != PROOF_ANSWER_ITSELF && !asks_input(profile))
        profile_missing(root, "route_query", "to prove the input", problems);
}

static bool asks_anything(const struct function *function)
{
    return function->select_check.query[0] != '\0' || function->range_check.query[0] != '\0' ||
           function->auto_check.query[0] != '\0' || function->shows[0][0] != '\0';
}

static void check_function(const struct profile *profile, const struct function *function,
                           const config_setting_t *root, const config_setting_t *group,
                           struct problems *problems)
{
    if (profile->proof == PROOF_NONE && asks_anything(function)) {
        problems_at(problems, group,
                    "this can be proved, but \"proof\" is \"none\" in the profile");
    }
    if (!promises(profile, root))
        return;
    size_t length =
        profile_query_room(function->read) +
        2 * (profile_query_room(profile->touch.query) + profile_query_room(profile->route_query) +
             profile_query_room(function->select_check.query) +
             profile_query_room(function->auto_check.query) +
             profile_query_room(function->range_check.query));
    if (profile->proof == PROOF_SAME_MESSAGE && length > DIALOGUE_LONGEST)
        problems_at(problems, group,
                    "all queries in the \"same message\" are up to %zu bytes, expected at most %d",
                    length, DIALOGUE_LONGEST);
    if (!asks_function(profile, function)) {
        profile_missing(group, profile->proof == PROOF_ANSWER_ITSELF ? "answer" : "select_check",
                        "to prove the function", problems);
    }
    if (!asks_range(function)) {
        profile_missing(group, profile->proof == PROOF_ANSWER_ITSELF ? "shows" : "range_query",
                        "to prove the range", problems);
    }
}

void profile_check_proof(const struct profile *profile, const config_setting_t *root,
                         struct problems *problems)
{
    const config_setting_t *list = strict_member(root, "functions");

    check_route(profile, root, problems);
    for (size_t i = 0; i < profile->function_count; i++) {
        check_function(profile, &profile->functions[i], root,
                       config_setting_get_elem(list, (unsigned)i), problems);
    }
}
