/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "control.h"

#include "methods.h"
#include "tools/standin/basics/alloc.h"
#include "tools/standin/link/listener.h"

#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

enum { LINE_LIMIT = 65536 };
enum { RPC_PARSE = -32700, RPC_REQUEST = -32600, RPC_METHOD = -32601, RPC_PARAMS = -32602 };

struct client {
    LIST_ENTRY(client) link;
    struct control *control;
    struct bufferevent *events;
};

struct control {
    struct bench *bench;
    struct listener listener;
    LIST_HEAD(clients, client) clients;
};

static void drop(struct client *client)
{
    LIST_REMOVE(client, link);
    bufferevent_free(client->events);
    free(client);
}

/* Wraps an error; takes over nothing, `id` may be NULL. */
static json_t *error_reply(int code, const char *message, json_t *id)
{
    return json_pack("{s:s, s:{s:i, s:s}, s:O}", "jsonrpc", "2.0", "error", "code", code, "message",
                     message, "id", id != NULL ? id : json_null());
}

/* The response to a request, or NULL for a notification. */
static json_t *respond(struct control *control, json_t *request)
{
    const char *version = json_string_value(json_object_get(request, "jsonrpc"));
    const char *method = json_string_value(json_object_get(request, "method"));
    json_t *id = json_object_get(request, "id");
    json_t *params = json_object_get(request, "params");
    json_t *empty = json_object();
    struct problem problem = { "" };
    json_t *result;
    json_t *response;

    if (version == NULL || strcmp(version, "2.0") != 0 || method == NULL) {
        response = error_reply(RPC_REQUEST, "expected a request of JSON-RPC 2.0", id);
    } else if (!methods_known(method)) {
        response = error_reply(RPC_METHOD, "no such method", id);
    } else if (params != NULL && !json_is_object(params)) {
        response = error_reply(RPC_PARAMS, "params: expected an object", id);
    } else {
        result = methods_call(control->bench, method, params != NULL ? params : empty, &problem);
        response = result == NULL ? error_reply(RPC_PARAMS, problem.text, id)
                                  : json_pack("{s:s, s:o, s:O}", "jsonrpc", "2.0", "result", result,
                                              "id", id != NULL ? id : json_null());
        if (id == NULL) {
            json_decref(response);
            response = NULL;
        }
    }
    json_decref(empty);
    return response;
}

static void answer_line(struct client *client, const char *line, size_t length)
{
    json_t *request = json_loadb(line, length, JSON_REJECT_DUPLICATES, NULL);
    json_t *response = request != NULL ? respond(client->control, request)
                                       : error_reply(RPC_PARSE, "not JSON", NULL);

    if (response != NULL) {
        char *text = alloc_checked(json_dumps(response, JSON_COMPACT | JSON_REAL_PRECISION(17)));

        evbuffer_add_printf(bufferevent_get_output(client->events), "%s\n", text);
        free(text);
    }
    json_decref(response);
    json_decref(request);
}

static void on_readable(struct bufferevent *events, void *argument)
{
    struct client *client = argument;
    struct evbuffer *input = bufferevent_get_input(events);
    size_t length;
    char *line;

    while ((line = evbuffer_readln(input, &length, EVBUFFER_EOL_LF)) != NULL) {
        answer_line(client, line, length);
        free(line);
    }
    if (evbuffer_get_length(input) > LINE_LIMIT)
        drop(client);
}

static void on_event(struct bufferevent *events, short what, void *argument)
{
    (void)events;
    if ((what & (BEV_EVENT_EOF | BEV_EVENT_ERROR)) != 0)
        drop(argument);
}

static void on_accepted(struct evconnlistener *listener, evutil_socket_t fd, struct sockaddr *from,
                        int size, void *argument)
{
    struct control *control = argument;
    struct client *client = alloc_new(1, sizeof *client);

    (void)listener;
    (void)from;
    (void)size;
    client->control = control;
    client->events =
        alloc_checked(bufferevent_socket_new(control->bench->base, fd, BEV_OPT_CLOSE_ON_FREE));
    LIST_INSERT_HEAD(&control->clients, client, link);
    bufferevent_setcb(client->events, on_readable, NULL, on_event, client);
    bufferevent_enable(client->events, EV_READ | EV_WRITE);
}

struct control *control_open(struct bench *bench, const char *path, struct problem *problem)
{
    struct control *control = alloc_new(1, sizeof *control);
    char where[128];
    int length = snprintf(where, sizeof where, "unix:%s", path);

    control->bench = bench;
    LIST_INIT(&control->clients);
    if (length < 0 || (size_t)length >= sizeof where) {
        problem_tell(problem, "control socket: the path is too long");
        free(control);
        return NULL;
    }
    if (!listener_open(&control->listener, bench->base, where, on_accepted, control, problem)) {
        free(control);
        return NULL;
    }
    return control;
}

void control_close(struct control *control)
{
    struct client *next;

    if (control == NULL)
        return;
    for (struct client *client = LIST_FIRST(&control->clients); client != NULL; client = next) {
        next = LIST_NEXT(client, link);
        drop(client);
    }
    listener_close(&control->listener);
    free(control);
}
