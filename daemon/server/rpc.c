/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rpc.h"

#include "rpc_bind.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* What is left of a batch. */
struct rpc_batch {
    json_t *calls; /* NULL: the line is no batch, or is through */
    size_t next;
};

/* All calls of one line, and the replies they have come to so far. */
struct exchange {
    struct rpc_batch rest;
    const struct rpc_service *service;
    void *peer;
    bool batch;
    size_t open; /* calls that are not answered yet, and one while they are handed out */
    struct text replies;
};

struct rpc_call {
    struct exchange *exchange;
    json_t *id;     /* NULL: a notification */
    json_t *params; /* borrowed while the handler runs */
};

static const char *standard_message(int code)
{
    switch (code) {
    case RPC_PARSE_ERROR:
        return "Parse error";
    case RPC_INVALID_REQUEST:
        return "Invalid Request";
    case RPC_METHOD_NOT_FOUND:
        return "Method not found";
    case RPC_INVALID_PARAMS:
        return "Invalid params";
    default:
        return "Internal error";
    }
}

static void write_id(struct text *text, const json_t *id)
{
    char *dump = json_dumps(id, JSON_ENCODE_ANY | JSON_COMPACT);
    text_key(text, "id");
    if (dump == NULL)
        text->failed = true;
    else
        text_json(text, dump, strlen(dump));
    free(dump);
}

static void write_error(struct text *text, int code, const char *message, const struct text *data)
{
    text_member_open(text, "error", '{');
    text_member_integer(text, "code", code);
    text_member_string(text, "message", message != NULL ? message : standard_message(code));
    if (data != NULL && !data->failed && data->length > 0) {
        text_key(text, "data");
        text_json(text, data->bytes, data->length);
    }
    text_close(text, '}');
}

static void reply_open(struct text *text)
{
    text_open(text, '{');
    text_member_string(text, "jsonrpc", "2.0");
}

void rpc_bare_error(struct text *text, int code, const char *message, const char *what)
{
    struct text data = { 0 };
    if (what != NULL) {
        text_open(&data, '{');
        text_member_string(&data, "what", what);
        text_close(&data, '}');
    }
    reply_open(text);
    write_error(text, code, message, &data);
    text_raw(text, ",\"id\":null}", 11);
    text_free(&data);
}

/* Sends what the line came to; with no memory left for that, the one text that needs none. */
static void exchange_send(struct exchange *exchange)
{
    static const char no_memory[] = "{\"jsonrpc\":\"2.0\",\"error\":{\"code\":-32603,"
                                    "\"message\":\"Internal error\"},\"id\":null}";
    struct text *replies = &exchange->replies;
    const struct rpc_service *service = exchange->service;
    if (exchange->batch && replies->length > 0)
        text_close(replies, ']');
    if (replies->failed)
        service->send(service->context, exchange->peer, no_memory, sizeof no_memory - 1);
    else if (replies->length > 0)
        service->send(service->context, exchange->peer, replies->bytes, replies->length);
}

/* One call less; the last one sends the replies. */
static void exchange_close(struct exchange *exchange)
{
    if (--exchange->open > 0)
        return;
    exchange_send(exchange);
    text_free(&exchange->replies);
    free(exchange);
}

/* Begins the reply of one call among those of its line. */
static struct text *reply_begin(struct exchange *exchange)
{
    if (exchange->batch && exchange->replies.length == 0)
        text_open(&exchange->replies, '[');
    reply_open(&exchange->replies);
    return &exchange->replies;
}

static void call_end(struct rpc_call *call)
{
    struct exchange *exchange = call->exchange;
    json_decref(call->id);
    free(call);
    exchange_close(exchange);
}

static const char batch_too_long[] = "the answers of this batch grew too long";

/* Whether a batch has come to as much as it may; its calls are refused from then on. */
static bool is_full(const struct exchange *exchange)
{
    return exchange->batch && exchange->replies.length > RPC_BATCH_REPLY;
}

/* Answers a call of a batch whose other answers leave no room for its result. */
static void fail_full(struct rpc_call *call)
{
    struct text data = { 0 };
    text_open(&data, '{');
    text_member_string(&data, "what", batch_too_long);
    text_close(&data, '}');
    rpc_fail(call, RPC_INTERNAL_ERROR, NULL, &data);
    text_free(&data);
}

void rpc_result(struct rpc_call *call, const struct text *result)
{
    if (is_full(call->exchange)) {
        fail_full(call);
        return;
    }
    if (result->failed || result->length == 0) {
        rpc_fail(call, RPC_INTERNAL_ERROR, NULL, NULL);
        return;
    }
    if (call->id != NULL) {
        struct text *reply = reply_begin(call->exchange);
        text_key(reply, "result");
        text_json(reply, result->bytes, result->length);
        write_id(reply, call->id);
        text_close(reply, '}');
    }
    call_end(call);
}

/* Answers with an error what has the id; nothing where that is NULL, a notification. */
static void answer_error(struct exchange *exchange, const json_t *id, int code, const char *message,
                         const struct text *data)
{
    if (id == NULL)
        return;
    struct text *reply = reply_begin(exchange);
    write_error(reply, code, message, data);
    write_id(reply, id);
    text_close(reply, '}');
}

void rpc_fail(struct rpc_call *call, int code, const char *message, const struct text *data)
{
    answer_error(call->exchange, call->id, code, message, data);
    call_end(call);
}

static void write_mistake(struct text *data, const char *what, const char *expected)
{
    text_open(data, '{');
    text_member_string(data, "what", what);
    text_member_string(data, "expected", expected);
    text_close(data, '}');
}

void rpc_fail_params(struct rpc_call *call, const char *what, const char *expected)
{
    struct text data = { 0 };
    write_mistake(&data, what, expected);
    rpc_fail(call, RPC_INVALID_PARAMS, NULL, &data);
    text_free(&data);
}

void *rpc_call_peer(const struct rpc_call *call)
{
    return call->exchange->peer;
}

json_t *rpc_call_params(const struct rpc_call *call)
{
    return call->params;
}

static const struct rpc_method *find_method(const struct rpc_method *methods, const char *name)
{
    for (; methods->name != NULL; methods++)
        if (strcmp(methods->name, name) == 0)
            return methods;
    return NULL;
}

static bool usable_id(const json_t *id)
{
    return json_is_string(id) || json_is_number(id) || json_is_null(id);
}

static bool valid_request(const json_t *request)
{
    const char *version = json_string_value(json_object_get(request, "jsonrpc"));
    const json_t *params = json_object_get(request, "params");
    const json_t *id = json_object_get(request, "id");
    return version != NULL && strcmp(version, "2.0") == 0 &&
           json_is_string(json_object_get(request, "method")) &&
           (params == NULL || json_is_array(params) || json_is_object(params)) &&
           (id == NULL || usable_id(id));
}

/* Checks the arguments against the method's parameters, and hands the call over. */
static void carry_out(struct rpc_call *call, const struct rpc_method *method)
{
    struct rpc_value values[RPC_MAX_PARAMETERS] = { 0 };
    struct rpc_mistake mistake;
    if (method->parameters == NULL || rpc_bind(method->parameters, call->params, values, &mistake))
        method->handler(call->exchange->service->context, call, values);
    else
        rpc_fail_params(call, mistake.what, mistake.expected);
}

/* Makes a call of what names a method. */
static void handle_call(struct exchange *exchange, json_t *id, json_t *params,
                        const struct rpc_method *method)
{
    const struct rpc_service *service = exchange->service;
    struct rpc_call *call = calloc(1, sizeof *call);
    if (call == NULL) {
        exchange->replies.failed = true;
        return;
    }
    call->exchange = exchange;
    call->id = json_incref(id);
    call->params = params;
    exchange->open++;
    if (service->admit == NULL || service->admit(service->context, call, method))
        carry_out(call, method);
}

/* An element of a batch, or the one request of a line. */
static void handle_request(struct exchange *exchange, json_t *request)
{
    json_t *id = json_object_get(request, "id");
    if (!valid_request(request)) {
        answer_error(exchange, usable_id(id) ? id : json_null(), RPC_INVALID_REQUEST, NULL, NULL);
        return;
    }
    const char *name = json_string_value(json_object_get(request, "method"));
    const struct rpc_method *method = find_method(exchange->service->methods, name);
    if (method == NULL)
        answer_error(exchange, id, RPC_METHOD_NOT_FOUND, NULL, NULL);
    else
        handle_call(exchange, id, json_object_get(request, "params"), method);
}

/* Answers a line, or an element too many, that holds no usable request. */
static void refuse(struct exchange *exchange, int code, const char *what)
{
    if (exchange->batch && exchange->replies.length == 0)
        text_open(&exchange->replies, '[');
    rpc_bare_error(&exchange->replies, code, NULL, what);
}

static bool put_off(struct exchange *exchange)
{
    const struct rpc_service *service = exchange->service;
    return service->put_off != NULL &&
           service->put_off(service->context, exchange->peer, &exchange->rest);
}

/* Hands out what is left of a batch; false when that was put off. */
static bool handle_batch(struct exchange *exchange)
{
    struct rpc_batch *rest = &exchange->rest;
    while (rest->next < json_array_size(rest->calls)) {
        if (is_full(exchange)) {
            refuse(exchange, RPC_INVALID_REQUEST, batch_too_long);
            return true;
        }
        handle_request(exchange, json_array_get(rest->calls, rest->next++));
        if (rest->next < json_array_size(rest->calls) && put_off(exchange))
            return false;
    }
    return true;
}

/* The line has been handed out; what is open of it is answered later. */
static void exchange_through(struct exchange *exchange)
{
    json_decref(exchange->rest.calls);
    exchange->rest.calls = NULL;
    exchange_close(exchange);
}

static struct exchange *exchange_of(struct rpc_batch *batch)
{
    return (struct exchange *)(void *)((char *)batch - offsetof(struct exchange, rest));
}

void rpc_go_on(struct rpc_batch *batch)
{
    struct exchange *exchange = exchange_of(batch);
    if (handle_batch(exchange))
        exchange_through(exchange);
}

void rpc_abandon(struct rpc_batch *batch)
{
    exchange_through(exchange_of(batch));
}

/* A batch that is not empty nor too long; False when the rest was put off. */
static bool begin_batch(struct exchange *exchange, json_t *calls)
{
    exchange->batch = true;
    exchange->rest.calls = json_incref(calls);
    return handle_batch(exchange);
}

/* False when not all of it was handed out yet. */
static bool handle_root(struct exchange *exchange, json_t *root)
{
    size_t count = json_array_size(root);
    if (!json_is_array(root))
        handle_request(exchange, root);
    else if (count == 0)
        refuse(exchange, RPC_INVALID_REQUEST, NULL);
    else if (count > RPC_MAX_BATCH)
        refuse(exchange, RPC_INVALID_REQUEST, "more than 1024 calls in one batch");
    else
        return begin_batch(exchange, root);
    return true;
}

static bool is_blank(const char *line, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r')
            return false;
    return true;
}

bool rpc_line(const struct rpc_service *service, void *peer, const char *line, size_t length)
{
    if (is_blank(line, length))
        return true;
    struct exchange *exchange = calloc(1, sizeof *exchange);
    if (exchange == NULL) {
        exchange_send(
            &(struct exchange) { .service = service, .peer = peer, .replies = { .failed = true } });
        return true;
    }
    exchange->service = service;
    exchange->peer = peer;
    exchange->open = 1;
    json_error_t error;
    bool through = true;
    json_t *root = json_loadb(line, length, JSON_DECODE_ANY | JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        refuse(exchange, RPC_PARSE_ERROR, error.text);
    else
        through = handle_root(exchange, root);
    if (through)
        exchange_through(exchange);
    json_decref(root);
    return root != NULL;
}
