/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JSON-RPC 2.0 without any socket: a line comes in, calls go to a table of
 * methods, and for every line at most one text comes out, when the last of
 * its calls has been answered. Calls may be answered later and in any order.
 *
 * After the JSON-RPC 2.0 specification (2013-01-04). Used by one thread.
 */
#ifndef GRADUS_DAEMON_RPC_H
#define GRADUS_DAEMON_RPC_H

#include "daemon/access/role.h"
#include "daemon/basics/json_text.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/*
 * The error codes the specification reserves.
 *
 * One idea in two halves; the other half is rpc_bind.h, which fits parameters.
 */
enum rpc_error {
    RPC_PARSE_ERROR = -32700,
    RPC_INVALID_REQUEST = -32600,
    RPC_METHOD_NOT_FOUND = -32601,
    RPC_INVALID_PARAMS = -32602,
    RPC_INTERNAL_ERROR = -32603
};

enum {
    RPC_MAX_PARAMETERS = 12,
    RPC_MAX_BATCH = 1024,              /* calls in one batch */
    RPC_BATCH_REPLY = 8 * 1024 * 1024, /* bytes; calls of a batch are refused beyond it */
    RPC_MAX_TEXT = 4096                /* bytes of a text parameter */
};

enum rpc_type {
    RPC_TEXT,
    RPC_INTEGER,
    RPC_NUMBER,
    RPC_BOOL,
    RPC_TEXTS, /* an array of at least one text */
    RPC_OBJECT /* an object; what is in it is the handler's to judge */
};

/* One parameter of a method. A list ends with a NULL name. */
struct rpc_parameter {
    const char *name;
    enum rpc_type type;
    bool required;
    double fallback; /* number or integer when it is not given */
    double minimum;  /* inclusive bounds of numbers and integers */
    double maximum;
    const char *help;
};

/* One argument as it arrived, or its fallback. Borrowed from the call. */
struct rpc_value {
    const char *text;
    json_t *texts;
    json_t *object;
    double number; /* RPC_NUMBER */
    int64_t integer;
    bool flag;
    bool given;
};

struct rpc_call;

/* A batch of which some calls are still to be handed out. */
struct rpc_batch;

/*
 * Carries a call out. It must answer the call exactly once, at once or
 * later, through rpc_result() or rpc_fail(). `values` stand in the order of
 * the parameters and are gone when the handler returns.
 */
typedef void rpc_handler(void *context, struct rpc_call *call, const struct rpc_value *values);

/* One method. A table ends with a NULL name. */
struct rpc_method {
    const char *name;
    enum role role; /* who may call it; a row without one does not compile */
    const struct rpc_parameter *parameters; /* NULL: anything; see rpc_call_params() */
    rpc_handler *handler;
    const char *help;   /* what it does */
    const char *result; /* what it answers */
};

/* What is served, and how answers leave. Borrowed for as long as any call is open. */
struct rpc_service {
    const struct rpc_method *methods;
    void *context; /* handed to the handlers */
    /* Sends one text, without a newline, to a peer. The text is the caller's. */
    void (*send)(void *context, void *peer, const char *text, size_t length);
    /*
     * Whether a call may be carried out, before its parameters are looked at. If not, it has
     * answered the call. NULL: all may.
     */
    bool (*admit)(void *context, struct rpc_call *call, const struct rpc_method *method);
    /*
     * Takes the rest of a batch, after each of its calls, to go on with it later: it must be handed
     * to rpc_go_on() or rpc_abandon() once. False, and it goes on at once: it need not wait. NULL:
     * batches are carried out in one.
     */
    bool (*put_off)(void *context, void *peer, struct rpc_batch *rest);
};

/*
 * Takes one line (without its newline) from a peer. A blank line is skipped. False when the
 * line is no JSON at all: that is answered with a parse error, and is nobody's who speaks this.
 * Replies leave through service->send, perhaps before this returns. A peer
 * that goes must have all its open calls answered first, after rpc_abandon() of what was put off;
 * the answers may then be dropped by `send`.
 */
bool rpc_line(const struct rpc_service *service, void *peer, const char *line, size_t length);

/* Goes on with a batch that was put off; put_off() may take the rest of it again. */
void rpc_go_on(struct rpc_batch *batch);

/* Hands out no more calls of a batch that was put off. */
void rpc_abandon(struct rpc_batch *batch);

/* The peer a call came from. */
void *rpc_call_peer(const struct rpc_call *call);

/* The params as they came: array, object or NULL. Valid until the handler returns. */
json_t *rpc_call_params(const struct rpc_call *call);

/*
 * Answers with a result and ends the call. `result` is a JSON text and stays
 * the caller's; a failed text is answered as an internal error.
 */
void rpc_result(struct rpc_call *call, const struct text *result);

/*
 * Answers with an error and ends the call. `data` is a JSON text or NULL and
 * stays the caller's.
 */
void rpc_fail(struct rpc_call *call, int code, const char *message, const struct text *data);

/* Ends the call with an invalid-params error saying what is wrong and what was expected. */
void rpc_fail_params(struct rpc_call *call, const char *what, const char *expected);

/*
 * Writes the error that is sent when there is no usable request to answer:
 * id null. `what` may be NULL.
 */
void rpc_bare_error(struct text *text, int code, const char *message, const char *what);

#endif
