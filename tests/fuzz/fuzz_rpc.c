/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a request line: at most one answer comes, and it is JSON; no
 * call is left open but those that were kept, and those can be answered.
 * Seeds: corpus_rpc.
 */
#include "daemon/server/rpc.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What one line has come to so far. */
struct peer {
    size_t answers;
    size_t kept_count;
    struct rpc_call *kept[RPC_MAX_BATCH];
};

static void take_answer(void *context, void *peer, const char *text, size_t length)
{
    struct peer *to = peer;
    (void)context;
    json_t *json = json_loadb(text, length, JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL, NULL);
    if (json == NULL || ++to->answers > 1 || memchr(text, '\n', length) != NULL)
        abort();
    json_decref(json);
}

static void call_now(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct text text = { 0 };
    (void)context;
    text_open(&text, '[');
    text_string(&text, values[0].text);
    text_integer(&text, values[1].integer);
    text_number(&text, values[2].number);
    text_bool(&text, values[3].flag);
    text_integer(&text, (int64_t)json_array_size(values[4].texts));
    text_close(&text, ']');
    rpc_result(call, &text);
    text_free(&text);
}

static void call_later(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct peer *peer = rpc_call_peer(call);
    (void)context;
    (void)values;
    peer->kept[peer->kept_count++] = call;
}

static const struct rpc_parameter parameters[] = {
    { "name", RPC_TEXT, true, 0, 0, 0, "" },     { "count", RPC_INTEGER, false, 1, 1, 9e15, "" },
    { "size", RPC_NUMBER, false, 0, 0, 10, "" }, { "flag", RPC_BOOL, false, 0, 0, 0, "" },
    { "names", RPC_TEXTS, false, 0, 0, 0, "" },  { .name = NULL },
};

static const struct rpc_method methods[] = {
    { "now", ROLE_NONE, parameters, call_now, "", "" },
    { "later", ROLE_NONE, NULL, call_later, "", "" },
    { .name = NULL },
};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const struct rpc_service service = { .methods = methods, .send = take_answer };
    static struct peer peer;

    peer.answers = 0;
    peer.kept_count = 0;
    rpc_line(&service, &peer, (const char *)data, size);
    if (peer.kept_count > 0 && peer.answers > 0)
        abort();
    for (size_t i = peer.kept_count; i > 0; i--)
        rpc_fail(peer.kept[i - 1], -32001, "over range", NULL);
    return 0;
}
