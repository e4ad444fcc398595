/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "access.h"

#include "tls.h"

#include <stdio.h>
#include <string.h>

bool access_load(struct access *access, const struct access_rules *rules, struct failure *failure)
{
    struct tokens tokens = { 0 };
    SSL_CTX *tls = NULL;
    if (rules->tokens[0] != '\0' && !tokens_read(&tokens, rules->tokens, failure))
        return false;
    if (rules->tls.certificate[0] != '\0' && (tls = tls_context(&rules->tls, failure)) == NULL) {
        tokens_free(&tokens);
        return false;
    }
    access_end(access);
    access->tokens = tokens;
    access->tls = tls;
    return true;
}

void access_end(struct access *access)
{
    tokens_free(&access->tokens);
    SSL_CTX_free(access->tls);
    access->tls = NULL;
}

bool access_serves_tcp(const struct access_rules *rules, bool loopback, struct failure *failure)
{
    bool known =
        rules->tokens[0] != '\0' || (rules->tls.clients_ca[0] != '\0' && rules->subject_count > 0);
    bool secret = rules->tls.certificate[0] != '\0';
    if (!known)
        return failure_set(failure, FAILURE_SETTINGS, "server.tcp",
                           "access.tokens, or server.tcp.clients_ca and access.certificates",
                           "nobody who comes over TCP could say who they are");
    return secret || loopback ||
           failure_set(failure, FAILURE_SETTINGS, "server.tcp",
                       "server.tcp.certificate and key, or an address of this machine alone",
                       "whoever is on the way could listen and alter what is said");
}

struct principal access_certificate(const struct access_rules *rules, const char *subject)
{
    struct principal who = { .role = ROLE_NONE };
    snprintf(who.name, sizeof who.name, "certificate %s", subject);
    for (size_t i = 0; i < rules->subject_count; i++)
        if (strcmp(rules->subjects[i].subject, subject) == 0)
            who.role = rules->subjects[i].role;
    return who;
}
