/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * By what clients over TCP say who they are, as the files have it now: the tokens, and what a
 * connection is encrypted with. The loop thread's alone.
 */
#ifndef GRADUS_DAEMON_ACCESS_H
#define GRADUS_DAEMON_ACCESS_H

#include "access_rules.h"
#include "account.h"
#include "guard.h"
#include "tokens.h"

#include <openssl/types.h>

struct access {
    struct tokens tokens;
    SSL_CTX *tls; /* NULL: connections are not encrypted */
    struct guard guard;
    struct accounts accounts; /* of everybody who has a connection */
};

/* Reads the files in the place of what is there; on failure that stays. Start with {0}. */
bool access_load(struct access *access, const struct access_rules *rules, struct failure *failure);

/* Frees what is in it. */
void access_end(struct access *access);

/*
 * Whether clients over TCP could say who they are, and nobody could listen: on loopback tokens
 * are enough, as the system keeps other users from seeing what goes over it; else TLS is needed.
 */
bool access_serves_tcp(const struct access_rules *rules, bool loopback, struct failure *failure);

/* Who a certificate's subject is; the role none when the settings do not name it. */
struct principal access_certificate(const struct access_rules *rules, const char *subject);

#endif
