/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who may do what. */
#include "daemon/access/access.h"
#include "settings_priv.h"

#include <grp.h>
#include <stdlib.h>
#include <string.h>

/* The access group as it is written. */
struct access_file {
    int others;
    char tokens[TLS_PATH];
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
    { .name = "tokens",
      .type = STRICT_TEXT,
      .offset = offsetof(struct access_file, tokens),
      .size = TLS_PATH,
      .help = "file of the tokens by which clients say who they are, /..., as gradus token makes "
              "it; read again at SIGHUP; default none" },
    { .name = "certificates",
      .type = STRICT_LIST,
      .help = "client certificates that are known over TCP, one group each" },
    { .name = NULL },
};

static const struct strict_key certificate_keys[] = {
    { .name = "subject",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct access_subject, subject),
      .size = TLS_SUBJECT,
      .help = "subject of the certificate as RFC 4514 writes it: \"CN=rack-7,O=Larkrise\"" },
    { .name = "role",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = offsetof(struct access_subject, role),
      .choices = role_words,
      .help = "what its holder may" },
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
    struct access_people *people = &settings->bench->access.people;
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

static void read_certificates(struct settings *settings, const config_setting_t *list)
{
    struct access_rules *rules = &settings->bench->access;
    int count = config_setting_length(list);
    if (count > ACCESS_CERTIFICATES) {
        problems_at(settings->problems, list, "%d certificates, expected at most %d", count,
                    ACCESS_CERTIFICATES);
        return;
    }
    for (int i = 0; i < count; i++) {
        const config_setting_t *written = config_setting_get_elem(list, (unsigned)i);
        if (config_setting_is_group(written))
            strict_group(written, certificate_keys, &rules->subjects[i], settings->problems);
        else
            problems_at(settings->problems, written, "expected { subject = ...; role = ...; }");
    }
    rules->subject_count = (size_t)count;
}

static bool is_loopback(const char *address)
{
    return strcmp(address, "localhost") == 0 || strncmp(address, "127.", 4) == 0 ||
           strcmp(address, "::1") == 0;
}

/* Whether a file can be looked at here and now: a credential is there in the service only. */
static bool is_here(const char *path)
{
    return strncmp(path, "credential:", 11) != 0 || getenv("CREDENTIALS_DIRECTORY") != NULL;
}

/* Reads the files as the daemon will, so that a mistake in them is found here. */
static void check_files(struct settings *settings)
{
    const struct access_rules *rules = &settings->bench->access;
    const struct bench_server *server = &settings->bench->server;
    struct access access = { 0 };
    struct failure failure = { 0 };
    char text[600];
    if ((rules->tls.certificate[0] != '\0') != (rules->tls.key[0] != '\0'))
        problems_at(settings->problems, settings->root,
                    "one of \"certificate\" and \"key\" of server.tcp, expected both");
    else if (server->tcp_address[0] != '\0' &&
             !access_serves_tcp(rules, is_loopback(server->tcp_address), &failure))
        problems_at(settings->problems, strict_member(settings->root, "server"), "%s",
                    failure_text(&failure, text, sizeof text));
    else if (is_here(rules->tls.certificate) && is_here(rules->tls.key) &&
             is_here(rules->tls.clients_ca) && !access_load(&access, rules, &failure))
        problems_at(settings->problems, settings->root, "%s",
                    failure_text(&failure, text, sizeof text));
    access_end(&access);
}

static void read_group_of_access(struct settings *settings, const config_setting_t *group)
{
    struct access_rules *rules = &settings->bench->access;
    struct access_file file = { .others = ROLE_ADMINISTER };
    const config_setting_t *groups = strict_list(group, "groups");
    const config_setting_t *certificates = strict_list(group, "certificates");
    if (groups != NULL)
        read_groups(settings, groups);
    if (certificates != NULL)
        read_certificates(settings, certificates);
    if (rules->people.group_count > 0)
        file.others = ROLE_NONE;
    strict_group(group, access_keys, &file, settings->problems);
    rules->people.others = (enum role)file.others;
    memcpy(rules->tokens, file.tokens, sizeof rules->tokens);
}

void settings_read_access(struct settings *settings)
{
    const config_setting_t *group = strict_member(settings->root, "access");
    settings->bench->access.people.others = ROLE_ADMINISTER;
    if (group != NULL && config_setting_is_group(group))
        read_group_of_access(settings, group);
    check_files(settings);
}

void settings_print_access_keys(FILE *out)
{
    fprintf(out, "access:\n");
    strict_print_keys(out, access_keys);
    fprintf(out, "access.groups:\n");
    strict_print_keys(out, group_keys);
    fprintf(out, "access.certificates:\n");
    strict_print_keys(out, certificate_keys);
}
