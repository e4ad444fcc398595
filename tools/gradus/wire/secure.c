/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "secure.h"

#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <arpa/inet.h>
#include <errno.h>
#include <limits.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct secure {
    SSL_CTX *context;
    SSL *tls;
};

static bool refuse(struct fault *fault, const char *what, const char *expected)
{
    char text[200];
    const unsigned long error = ERR_get_error();
    ERR_error_string_n(error, text, sizeof text);
    ERR_clear_error();
    fault_set(fault, STATUS_NO_READING, "no secure connection", "%s: %s", what,
              error != 0 ? text : "closed by the daemon");
    snprintf(fault->expected, sizeof fault->expected, "%s", expected);
    return false;
}

static bool read_files(SSL_CTX *context, const struct options *options, struct fault *fault)
{
    /* What is in the file is trusted as it is: an authority, or the daemon's own certificate. */
    if (SSL_CTX_load_verify_file(context, options->ca) != 1)
        return refuse(fault, options->ca, "a certificate in PEM, by --ca or GRADUS_CA");
    X509_VERIFY_PARAM_set_flags(SSL_CTX_get0_param(context), X509_V_FLAG_PARTIAL_CHAIN);
    SSL_CTX_set_verify(context, SSL_VERIFY_PEER, NULL);
    if (options->identity == NULL)
        return true;
    return (SSL_CTX_use_certificate_chain_file(context, options->identity) == 1 &&
            SSL_CTX_use_PrivateKey_file(context, options->identity, SSL_FILETYPE_PEM) == 1) ||
           refuse(fault, options->identity,
                  "a certificate and its key in PEM, by --identity or GRADUS_IDENTITY");
}

/* The name or the address that the certificate must be for. */
static bool expect_host(SSL *tls, const char *host)
{
    struct in6_addr room;
    if (inet_pton(AF_INET, host, &room) == 1 || inet_pton(AF_INET6, host, &room) == 1)
        return X509_VERIFY_PARAM_set1_ip_asc(SSL_get0_param(tls), host) == 1;
    char name[TLSEXT_MAXLEN_host_name + 1]; /* the library takes no constant, and copies it */
    int length = snprintf(name, sizeof name, "%s", host);
    return length > 0 && (size_t)length < sizeof name && SSL_set1_host(tls, host) == 1 &&
           SSL_set_tlsext_host_name(tls, name) == 1;
}

static double now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

static bool agree(SSL *tls, int descriptor, int within_ms, struct fault *fault)
{
    const double until = now_ms() + within_ms;
    for (;;) {
        const int result = SSL_connect(tls);
        const int error = SSL_get_error(tls, result);
        const double left = until - now_ms();
        if (result == 1)
            return true;
        if ((error != SSL_ERROR_WANT_READ && error != SSL_ERROR_WANT_WRITE) || left <= 0)
            return refuse(fault, "TLS",
                          "a daemon whose server.tcp.certificate is, or is from, that of --ca");
        struct pollfd look = { .fd = descriptor,
                               .events = error == SSL_ERROR_WANT_READ ? POLLIN : POLLOUT };
        poll(&look, 1, (int)left + 1);
    }
}

struct secure *secure_open(int descriptor, const char *host, const struct options *options,
                           int within_ms, struct fault *fault)
{
    struct secure *const secure = memory_zeroed(1, sizeof *secure);
    secure->context = SSL_CTX_new(TLS_client_method());
    if (secure->context != NULL && read_files(secure->context, options, fault)) {
        SSL_CTX_set_min_proto_version(secure->context, TLS1_3_VERSION);
        SSL_CTX_set_mode(secure->context,
                         SSL_MODE_ENABLE_PARTIAL_WRITE | SSL_MODE_ACCEPT_MOVING_WRITE_BUFFER);
        secure->tls = SSL_new(secure->context);
        if (secure->tls != NULL && expect_host(secure->tls, host) &&
            SSL_set_fd(secure->tls, descriptor) == 1 &&
            agree(secure->tls, descriptor, within_ms, fault))
            return secure;
    }
    SSL_free(secure->tls);
    SSL_CTX_free(secure->context);
    free(secure);
    return NULL;
}

void secure_close(struct secure *secure)
{
    if (secure == NULL)
        return;
    SSL_shutdown(secure->tls);
    SSL_free(secure->tls);
    SSL_CTX_free(secure->context);
    free(secure);
}

/* What a call came to, as recv(2) and send(2) say it. */
static ssize_t outcome(struct secure *secure, int result)
{
    if (result > 0)
        return result;
    const int error = SSL_get_error(secure->tls, result);
    ERR_clear_error();
    if (error == SSL_ERROR_ZERO_RETURN)
        return 0;
    errno = error == SSL_ERROR_WANT_READ || error == SSL_ERROR_WANT_WRITE ? EAGAIN : ECONNRESET;
    return -1;
}

ssize_t secure_read(struct secure *secure, void *bytes, size_t count)
{
    return outcome(secure, SSL_read(secure->tls, bytes, count > INT_MAX ? INT_MAX : (int)count));
}

ssize_t secure_write(struct secure *secure, const void *bytes, size_t count)
{
    return outcome(secure, SSL_write(secure->tls, bytes, count > INT_MAX ? INT_MAX : (int)count));
}
