/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who may do what. */
#include "settings_priv.h"

#include <grp.h>
#include <string.h>

/* The access group as it is written. */
struct access_file {
    int others;
};

static const struct strict_key access_keys[] = {
    { .name = "groups",
      .type = STRICT_LIST,
      .help = "what the members of groups of this machine may at the Unix socket, one group each; "
              "root and the daemon's own user may everything" },
    { .name = "others",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct access_file, others),
      .choices = role_words,
      .help = "what anybody else may who can open the Unix socket; default none where there are "
              "groups, else administer" },
    { .name = NULL },
};

static const struct strict_key group_keys[] = {
    { .name = "group",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct access_group, name),
      .size = sizeof((struct access_group *)NULL)->name,
      .help = "name of a group of this machine" },
    { .name = "role",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = offsetof(struct access_group, role),
      .choices = role_words,
      .help = "what its members may, and all that stands before it: look at points, instruments, "
              "readings and runs; measure; run (burn-ins, hold); administer (talk)" },
    { .name = NULL },
};

static void read_group(struct settings *settings, const config_setting_t *written,
                       struct access_group *group)
{
    if (!config_setting_is_group(written)) {
        problems_at(settings->problems, written, "expected { group = ...; role = ...; }");
        return;
    }
    if (!strict_group(written, group_keys, group, settings->problems))
        return;
    const struct group *known = getgrnam(group->name);
    if (known == NULL)
        problems_at(settings->problems, strict_member(written, "group"),
                    "\"group\" is \"%s\", expected a group of this machine", group->name);
    else
        group->gid = known->gr_gid;
}

static void read_groups(struct settings *settings, const config_setting_t *list)
{
    struct access_people *people = &settings->bench->people;
    int count = config_setting_length(list);
    if (count > ACCESS_GROUPS) {
        problems_at(settings->problems, list, "%d groups, expected at most %d", count,
                    ACCESS_GROUPS);
        return;
    }
    for (int i = 0; i < count; i++)
        read_group(settings, config_setting_get_elem(list, (unsigned)i), &people->groups[i]);
    people->group_count = (size_t)count;
}

void settings_read_access(struct settings *settings)
{
    struct access_people *people = &settings->bench->people;
    const config_setting_t *group = strict_member(settings->root, "access");
    struct access_file file = { .others = ROLE_ADMINISTER };
    people->others = ROLE_ADMINISTER;
    if (group == NULL || !config_setting_is_group(group))
        return;
    const config_setting_t *list = strict_list(group, "groups");
    if (list != NULL)
        read_groups(settings, list);
    if (people->group_count > 0)
        file.others = ROLE_NONE;
    strict_group(group, access_keys, &file, settings->problems);
    people->others = (enum role)file.others;
}

void settings_print_access_keys(FILE *out)
{
    fprintf(out, "access:\n");
    strict_print_keys(out, access_keys);
    fprintf(out, "access.groups:\n");
    strict_print_keys(out, group_keys);
}
