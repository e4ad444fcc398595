/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tls.h"

#include <openssl/err.h>
#include <openssl/x509.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A path, or a credential with the folder it is in. */
enum { PATH_MOST = 2 * TLS_PATH };

static bool fail(struct failure *failure, const char *where, const char *expected)
{
    char text[160];
    unsigned long error = ERR_get_error();
    ERR_error_string_n(error, text, sizeof text);
    ERR_clear_error();
    return failure_set(failure, FAILURE_SETTINGS, where, expected, "%s",
                       error != 0 ? text : "it does not fit");
}

/* The path a setting stands for. False when it is a credential and there are none. */
static bool find_file(const char *written, char path[PATH_MOST], struct failure *failure)
{
    static const char prefix[] = "credential:";
    const char *folder = getenv("CREDENTIALS_DIRECTORY");
    if (strncmp(written, prefix, sizeof prefix - 1) != 0) {
        snprintf(path, PATH_MOST, "%s", written);
        return true;
    }
    if (folder == NULL || strlen(folder) >= TLS_PATH)
        return failure_set(failure, FAILURE_SETTINGS, written, "LoadCredential= in the unit",
                           "the service manager has handed no credentials over");
    snprintf(path, PATH_MOST, "%s/%s", folder, written + sizeof prefix - 1);
    return true;
}

static bool load_pair(SSL_CTX *context, const struct tls_files *files, struct failure *failure)
{
    char path[PATH_MOST];
    if (!find_file(files->certificate, path, failure))
        return false;
    if (SSL_CTX_use_certificate_chain_file(context, path) != 1)
        return fail(failure, files->certificate, "a certificate in PEM");
    if (!find_file(files->key, path, failure))
        return false;
    if (SSL_CTX_use_PrivateKey_file(context, path, SSL_FILETYPE_PEM) != 1 ||
        SSL_CTX_check_private_key(context) != 1)
        return fail(failure, files->key, "the private key of that certificate in PEM");
    return true;
}

static bool ask_clients(SSL_CTX *context, const char *written, struct failure *failure)
{
    char path[PATH_MOST];
    if (written[0] == '\0')
        return true;
    if (!find_file(written, path, failure))
        return false;
    if (SSL_CTX_load_verify_file(context, path) != 1)
        return fail(failure, written, "certificates of an authority in PEM");
    SSL_CTX_set_verify(context, SSL_VERIFY_PEER, NULL);
    return true;
}

SSL_CTX *tls_context(const struct tls_files *files, struct failure *failure)
{
    SSL_CTX *context = SSL_CTX_new(TLS_server_method());
    if (context == NULL) {
        failure_no_memory(failure, "TLS");
        return NULL;
    }
    SSL_CTX_set_min_proto_version(context, TLS1_3_VERSION);
    /* A connection says who it is each time: no tickets, no sessions that go on. */
    SSL_CTX_set_num_tickets(context, 0);
    SSL_CTX_set_session_cache_mode(context, SSL_SESS_CACHE_OFF);
    SSL_CTX_set_mode(context, SSL_MODE_RELEASE_BUFFERS);
    if (load_pair(context, files, failure) && ask_clients(context, files->clients_ca, failure))
        return context;
    SSL_CTX_free(context);
    return NULL;
}

bool tls_subject(const SSL *ssl, char subject[TLS_SUBJECT])
{
    X509 *certificate = SSL_get1_peer_certificate(ssl);
    bool whole = false;
    if (certificate == NULL)
        return false;
    BIO *text = BIO_new(BIO_s_mem());
    if (text != NULL &&
        X509_NAME_print_ex(text, X509_get_subject_name(certificate), 0, XN_FLAG_RFC2253) >= 0) {
        int length = BIO_read(text, subject, TLS_SUBJECT);
        whole = length > 0 && length < TLS_SUBJECT;
        if (whole)
            subject[length] = '\0';
    }
    BIO_free(text);
    X509_free(certificate);
    return whole && SSL_get_verify_result(ssl) == X509_V_OK;
}
