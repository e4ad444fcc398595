/* SPDX-License-Identifier: GPL-3.0-or-later */
/* TLS 1.3 and nothing older: the daemon's certificate, and those of clients. */
#ifndef GRADUS_DAEMON_TLS_H
#define GRADUS_DAEMON_TLS_H

#include "access_rules.h"
#include "core/basics/failure.h"

#include <openssl/ssl.h>
#include <stddef.h>

/* What new connections are taken with, to be freed with SSL_CTX_free(); NULL with the failure. */
SSL_CTX *tls_context(const struct tls_files *files, struct failure *failure);

/*
 * The subject of the peer's certificate as RFC 4514 writes it, "CN=rack-7,O=Larkrise"; false
 * when it has shown none, or one whose subject is too long to be anybody's.
 */
bool tls_subject(const SSL *ssl, char subject[TLS_SUBJECT]);

#endif
