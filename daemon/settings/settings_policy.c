/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is done about the mistakes that people make at the bench. */
#include "settings_priv.h"

#include <string.h>

static const char *const policies[] = {
    [MISTAKE_WARN] = "warn",
    [MISTAKE_BLOCK] = "block",
    NULL,
};

static const struct strict_key policy_keys[] = {
#define X(kind, key, policy, text)                                                                 \
    { .name = (key),                                                                               \
      .type = STRICT_CHOICE,                                                                       \
      .offset = MISTAKE_##kind * sizeof(enum mistake_policy),                                      \
      .choices = policies,                                                                         \
      .help = (text) },
    MISTAKE_TABLE(X)
#undef X
        { .name = NULL },
};

void settings_read_policy(struct settings *settings)
{
    enum mistake_policy *policy = settings->bench->policy;
    const config_setting_t *group = strict_member(settings->root, "policy");

    for (int kind = 0; kind < MISTAKE_COUNT; kind++)
        policy[kind] = mistake_default((enum mistake_kind)kind);
    if (group != NULL && config_setting_is_group(group))
        strict_group(group, policy_keys, policy, settings->problems);
}

void settings_print_policy_keys(FILE *out)
{
    const char *before = "";
    fprintf(out, "policy (by default all warn, but what blocks is ");
    for (int kind = 0; kind < MISTAKE_COUNT; kind++) {
        if (mistake_default((enum mistake_kind)kind) == MISTAKE_BLOCK) {
            fprintf(out, "%s%s", before, mistake_key((enum mistake_kind)kind));
            before = ", ";
        }
    }
    fprintf(out, "):\n");
    strict_print_keys(out, policy_keys);
}
