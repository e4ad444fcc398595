/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who may do what, and which files say so, as the settings have it. */
#ifndef GRADUS_DAEMON_ACCESS_RULES_H
#define GRADUS_DAEMON_ACCESS_RULES_H

#include "principal.h"

enum { TLS_PATH = 256, TLS_SUBJECT = 112, ACCESS_CERTIFICATES = 64 };

/* Files in PEM. A path "credential:NAME" is the service manager's credential of that name. */
struct tls_files {
    char certificate[TLS_PATH]; /* with those that lead to its root; empty: no TLS */
    char key[TLS_PATH];
    char clients_ca[TLS_PATH]; /* that client certificates must come from; empty: none is asked */
};

/* A client certificate, and what its holder may. */
struct access_subject {
    char subject[TLS_SUBJECT]; /* as RFC 4514 writes it */
    enum role role;
};

struct access_rules {
    struct access_people people; /* at the Unix socket */
    char tokens[TLS_PATH];       /* file; empty: none */
    struct tls_files tls;        /* over TCP */
    size_t subject_count;
    struct access_subject subjects[ACCESS_CERTIFICATES];
};

#endif
