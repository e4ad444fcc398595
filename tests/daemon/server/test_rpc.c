/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JSON-RPC 2.0 against the specification's own examples and what follows
 * from its rules: tests/reference/jsonrpc.json, J1 to J34. Its method table
 * is that of the vectors; nothing here needs a socket.
 */
#include "daemon/server/rpc.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* What left through `send`, and a call that is kept open. */
struct peer {
    char *sent; /* the last text, or NULL */
    size_t count;
    struct rpc_call *kept[4];
    size_t kept_count;
};

static void take_text(void *context, void *peer, const char *text, size_t length)
{
    struct peer *to = peer;
    (void)context;
    free(to->sent);
    to->sent = strndup(text, length);
    to->count++;
}

static void answer_json(struct rpc_call *call, json_t *json)
{
    char *dump = json_dumps(json, JSON_ENCODE_ANY);
    struct text text = { 0 };
    text_raw(&text, dump, strlen(dump));
    rpc_result(call, &text);
    text_free(&text);
    free(dump);
    json_decref(json);
}

static void call_subtract(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    (void)context;
    answer_json(call, json_integer(values[0].integer - values[1].integer));
}

static void call_sum(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    const json_t *params = rpc_call_params(call);
    json_int_t sum = 0;
    (void)context;
    (void)values;
    for (size_t i = 0; i < json_array_size(params); i++)
        sum += json_integer_value(json_array_get(params, i));
    answer_json(call, json_integer(sum));
}

static void call_get_data(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    (void)context;
    (void)values;
    answer_json(call, json_pack("[s, i]", "hello", 5));
}

static void call_accept(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    (void)context;
    (void)values;
    answer_json(call, json_true());
}

/* Keeps the call open, to be answered by the test. */
static void call_later(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct peer *peer = rpc_call_peer(call);
    (void)context;
    (void)values;
    peer->kept[peer->kept_count++] = call;
}

/* Answers with a number that is none, which JSON cannot write (RFC 8259, 6). */
static void call_spoilt(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    const double zero = 0;
    struct text text = { 0 };
    (void)context;
    (void)values;
    text_number(&text, zero / zero);
    rpc_result(call, &text);
    text_free(&text);
}

/* Says what it was given, for the tests of defaults and bounds. */
static void call_echo(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    (void)context;
    answer_json(call, json_pack("[s, b, I, f, b, b, i]", values[0].text, values[1].given,
                                (json_int_t)values[1].integer, values[2].number, values[3].given,
                                values[3].flag, (int)json_array_size(values[4].texts)));
}

static const struct rpc_parameter subtract_parameters[] = {
    { "minuend", RPC_INTEGER, true, 0, -1e9, 1e9, "" },
    { "subtrahend", RPC_INTEGER, true, 0, -1e9, 1e9, "" },
    { .name = NULL },
};

static const struct rpc_parameter echo_parameters[] = {
    { "name", RPC_TEXT, true, 0, 0, 0, "" },        { "count", RPC_INTEGER, false, 7, 1, 10, "" },
    { "size", RPC_NUMBER, false, 2.5, 0, 100, "" }, { "flag", RPC_BOOL, false, 0, 0, 0, "" },
    { "names", RPC_TEXTS, false, 0, 0, 0, "" },     { .name = NULL },
};

static const struct rpc_parameter none[] = { { .name = NULL } };

static const struct rpc_method methods[] = {
    { "subtract", ROLE_NONE, subtract_parameters, call_subtract, "", "" },
    { "sum", ROLE_NONE, NULL, call_sum, "", "" },
    { "get_data", ROLE_NONE, none, call_get_data, "", "" },
    { "update", ROLE_NONE, NULL, call_accept, "", "" },
    { "notify_hello", ROLE_NONE, NULL, call_accept, "", "" },
    { "notify_sum", ROLE_NONE, NULL, call_accept, "", "" },
    { "later", ROLE_NONE, NULL, call_later, "", "" },
    { "spoilt", ROLE_NONE, none, call_spoilt, "", "" },
    { "echo", ROLE_NONE, echo_parameters, call_echo, "", "" },
    { .name = NULL },
};

static const struct rpc_service service = { .methods = methods, .send = take_text };

/* Sends one line; the answer as JSON, or NULL when none came. */
static json_t *exchange_bytes(const char *line, size_t length)
{
    struct peer peer = { 0 };
    rpc_line(&service, &peer, line, length);
    json_t *answer = NULL;
    if (peer.sent != NULL) {
        assert_null(strchr(peer.sent, '\n'));
        answer = json_loads(peer.sent, JSON_DECODE_ANY | JSON_REJECT_DUPLICATES, NULL);
        assert_non_null(answer);
    }
    assert_true(peer.count <= 1);
    free(peer.sent);
    return answer;
}

static json_t *exchange(const char *line)
{
    return exchange_bytes(line, strlen(line));
}

/* The error code of the one answer to a line; 0 when it was a result. */
static int code_of(const char *line)
{
    json_t *answer = exchange(line);
    int code = (int)json_integer_value(json_object_get(json_object_get(answer, "error"), "code"));
    json_decref(answer);
    return code;
}

/*
 * Whether an answer is what is expected. The specification allows an error
 * to carry data, which the vectors leave open.
 */
static bool same_answer(json_t *answer, const json_t *expected)
{
    json_t *error = json_object_get(answer, "error");
    if (json_is_object(error))
        json_object_del(error, "data");
    return json_equal(answer, expected) != 0;
}

/* Answers of a batch may come in any order: each expected one is taken out once. */
static bool same_batch(json_t *answers, const json_t *expected)
{
    if (json_array_size(answers) != json_array_size(expected))
        return false;
    for (size_t i = 0; i < json_array_size(expected); i++) {
        size_t j = 0;
        while (j < json_array_size(answers) &&
               !same_answer(json_array_get(answers, j), json_array_get(expected, i)))
            j++;
        if (json_array_remove(answers, j) != 0)
            return false;
    }
    return true;
}

static bool same(json_t *answer, const json_t *expected)
{
    if (json_is_null(expected))
        return answer == NULL;
    if (json_is_array(expected))
        return json_is_array(answer) && same_batch(answer, expected);
    return answer != NULL && same_answer(answer, expected);
}

/* J32 sends the raw byte FF, which no JSON file can hold: its UTF-8 form stands for it. */
static size_t with_raw_ff(char *line)
{
    char *at = strstr(line, "\xc3\xbf");
    if (at != NULL) {
        *at = (char)0xff;
        memmove(at + 1, at + 2, strlen(at + 2) + 1);
    }
    return strlen(line);
}

static void check_vector(const json_t *vector)
{
    const char *id = json_string_value(json_object_get(vector, "id"));
    char *line = strdup(json_string_value(json_object_get(vector, "send")));
    json_t *answer = exchange_bytes(line, with_raw_ff(line));
    if (!same(answer, json_object_get(vector, "expect"))) {
        char *dump = answer != NULL ? json_dumps(answer, JSON_ENCODE_ANY) : NULL;
        print_error("%s: %s -> %s\n", id, line, dump != NULL ? dump : "nothing");
        free(dump);
        fail();
    }
    json_decref(answer);
    free(line);
}

static void vectors_of_the_specification(void **state)
{
    json_error_t error;
    json_t *file = json_load_file(GRADUS_TEST_DATA "/jsonrpc.json", 0, &error);
    (void)state;
    assert_non_null(file);
    const json_t *exchanges = json_object_get(file, "exchanges");
    assert_int_equal(json_array_size(exchanges), 34);
    for (size_t i = 0; i < json_array_size(exchanges); i++)
        check_vector(json_array_get(exchanges, i));
    json_decref(file);
}

static void params_out_of_bounds_are_refused(void **state)
{
    static const char *const bad[] = {
        "[]",
        "[\"\"]",
        "[3]",
        "[null]",
        "[\"a\",0]",
        "[\"a\",11]",
        "[\"a\",1.5]",
        "[\"a\",\"1\"]",
        "[\"a\",1,-0.1]",
        "[\"a\",1,100.5]",
        "[\"a\",1,1,1]",
        "[\"a\",1,1,true,[]]",
        "[\"a\",1,1,true,[1]]",
        "[\"a\",1,1,true,[\"\"]]",
        "[\"a\",1,1,true,\"b\"]",
        "[\"a\",1,1,true,[\"b\"],1]",
        "{\"name\":\"a\",\"Count\":1}",
        "{}",
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        char line[256];
        snprintf(line, sizeof line,
                 "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":%s,\"id\":1}", bad[i]);
        if (code_of(line) != RPC_INVALID_PARAMS) {
            print_error("%s was taken\n", bad[i]);
            fail();
        }
    }
}

static void defaults_stand_in_for_what_is_not_given(void **state)
{
    static const char *const lines[] = {
        "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":[\"a\"],\"id\":1}",
        "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":{\"name\":\"a\"},\"id\":1}",
        "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":[\"a\",null,null,null,null],\"id\":1}",
    };
    json_t *expected = json_pack("{s:s, s:i, s:[s,b,i,f,b,b,i]}", "jsonrpc", "2.0", "id", 1,
                                 "result", "a", 0, 7, 2.5, 0, 0, 0);
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        json_t *answer = exchange(lines[i]);
        assert_true(json_equal(answer, expected));
        json_decref(answer);
    }
    json_decref(expected);
}

static void given_values_arrive_by_position_and_by_name(void **state)
{
    static const char *const lines[] = {
        "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":[\"a\",10,0,true,[\"x\",\"y\"]],"
        "\"id\":1}",
        "{\"jsonrpc\":\"2.0\",\"method\":\"echo\",\"params\":{\"names\":[\"x\",\"y\"],\"flag\":"
        "true,"
        "\"size\":0,\"count\":10,\"name\":\"a\"},\"id\":1}",
    };
    json_t *expected = json_pack("{s:s, s:i, s:[s,b,i,f,b,b,i]}", "jsonrpc", "2.0", "id", 1,
                                 "result", "a", 1, 10, 0.0, 1, 1, 2);
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        json_t *answer = exchange(lines[i]);
        assert_true(json_equal(answer, expected));
        json_decref(answer);
    }
    json_decref(expected);
}

static void a_spoilt_result_is_an_internal_error(void **state)
{
    (void)state;
    assert_int_equal(code_of("{\"jsonrpc\":\"2.0\",\"method\":\"spoilt\",\"id\":1}"),
                     RPC_INTERNAL_ERROR);
}

/* A batch answers when its last call does, in one text. */
static void a_batch_waits_for_its_last_call(void **state)
{
    static const char line[] = "[{\"jsonrpc\":\"2.0\",\"method\":\"later\",\"id\":1},"
                               "{\"jsonrpc\":\"2.0\",\"method\":\"get_data\",\"id\":2},"
                               "{\"jsonrpc\":\"2.0\",\"method\":\"later\"},"
                               "{\"jsonrpc\":\"2.0\",\"method\":\"later\",\"id\":3}]";
    struct peer peer = { 0 };
    (void)state;
    rpc_line(&service, &peer, line, strlen(line));
    assert_int_equal(peer.count, 0);
    assert_int_equal(peer.kept_count, 3);
    rpc_fail(peer.kept[2], -32001, "over range", NULL);
    rpc_fail(peer.kept[0], -32002, "unstable", NULL);
    assert_int_equal(peer.count, 0);
    answer_json(peer.kept[1], json_true());
    assert_int_equal(peer.count, 1);
    json_t *answers = json_loads(peer.sent, 0, NULL);
    assert_int_equal(json_array_size(answers), 3);
    json_decref(answers);
    free(peer.sent);
}

/* Results that come later do not make a batch's answer grow without bounds. */
static void a_batch_that_grew_too_long_takes_no_more_results(void **state)
{
    static const char line[] = "[{\"jsonrpc\":\"2.0\",\"method\":\"later\",\"id\":1},"
                               "{\"jsonrpc\":\"2.0\",\"method\":\"later\",\"id\":2}]";
    char *many = malloc(RPC_BATCH_REPLY + 1);
    struct peer peer = { 0 };
    (void)state;
    assert_non_null(many);
    memset(many, 'x', RPC_BATCH_REPLY);
    many[RPC_BATCH_REPLY] = '\0';
    rpc_line(&service, &peer, line, strlen(line));
    answer_json(peer.kept[0], json_string(many));
    answer_json(peer.kept[1], json_string(many));
    json_t *answers = json_loads(peer.sent, 0, NULL);
    assert_true(json_is_string(json_object_get(json_array_get(answers, 0), "result")));
    json_t *error = json_object_get(json_array_get(answers, 1), "error");
    assert_int_equal(json_integer_value(json_object_get(error, "code")), RPC_INTERNAL_ERROR);
    json_decref(answers);
    free(peer.sent);
    free(many);
}

static void a_batch_beyond_the_limit_is_refused_whole(void **state)
{
    struct text line = { 0 };
    (void)state;
    text_open(&line, '[');
    for (int i = 0; i <= RPC_MAX_BATCH; i++)
        text_integer(&line, 1);
    text_close(&line, ']');
    assert_int_equal(code_of(line.bytes), RPC_INVALID_REQUEST);
    text_free(&line);
}

static void hopeless_lines_are_parse_errors(void **state)
{
    static const struct {
        const char *bytes;
        size_t length;
    } lines[] = { { "\0", 1 },  { "{", 1 },     { "\xef\xbb\xbf{}", 5 },
                  { "nul", 3 }, { "1e999", 5 }, { "\"\\u0000\"", 8 },
                  { "[1,]", 4 } };
    (void)state;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        json_t *answer = exchange_bytes(lines[i].bytes, lines[i].length);
        json_t *error = json_object_get(answer, "error");
        assert_int_equal(json_integer_value(json_object_get(error, "code")), RPC_PARSE_ERROR);
        assert_true(json_is_null(json_object_get(answer, "id")));
        json_decref(answer);
    }
}

static void deep_nesting_does_no_harm(void **state)
{
    enum { DEPTH = 100000 };
    char *line = malloc(DEPTH);
    (void)state;
    memset(line, '[', DEPTH);
    json_t *answer = exchange_bytes(line, DEPTH);
    assert_non_null(answer);
    json_decref(answer);
    free(line);
}

static bool keep_rest(void *context, void *peer, struct rpc_batch *rest)
{
    struct rpc_batch **kept = context;
    (void)peer;
    *kept = rest;
    return true;
}

static const char four_calls[] =
    "[{\"jsonrpc\":\"2.0\",\"method\":\"sum\",\"params\":[1],\"id\":1},"
    "{\"jsonrpc\":\"2.0\",\"method\":\"sum\",\"params\":[2],\"id\":2},"
    "{\"jsonrpc\":\"2.0\",\"method\":\"sum\",\"params\":[3],\"id\":3},"
    "{\"jsonrpc\":\"2.0\",\"method\":\"nonsense\",\"id\":4}]";

/* A batch is put off after each call, and answered as one when the last has been carried out. */
static void a_batch_may_be_put_off(void **state)
{
    struct peer peer = { 0 };
    struct rpc_batch *kept = NULL;
    const struct rpc_service slow = {
        .methods = methods, .context = &kept, .send = take_text, .put_off = keep_rest
    };
    (void)state;
    assert_true(rpc_line(&slow, &peer, four_calls, sizeof four_calls - 1));
    for (int i = 0; i < 3; i++) {
        struct rpc_batch *rest = kept;
        assert_non_null(rest);
        assert_int_equal(peer.count, 0);
        kept = NULL;
        rpc_go_on(rest);
    }
    assert_null(kept);
    assert_int_equal(peer.count, 1);
    json_t *answers = json_loads(peer.sent, 0, NULL);
    assert_int_equal(json_array_size(answers), 4);
    json_decref(answers);
    free(peer.sent);
}

/* What was carried out of a batch whose peer goes is answered, and nothing more is. */
static void a_batch_may_be_abandoned(void **state)
{
    struct peer peer = { 0 };
    struct rpc_batch *kept = NULL;
    const struct rpc_service slow = {
        .methods = methods, .context = &kept, .send = take_text, .put_off = keep_rest
    };
    (void)state;
    assert_true(rpc_line(&slow, &peer, four_calls, sizeof four_calls - 1));
    rpc_abandon(kept);
    json_t *answers = json_loads(peer.sent, 0, NULL);
    assert_int_equal(json_array_size(answers), 1);
    json_decref(answers);
    free(peer.sent);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hopeless_lines_are_parse_errors),
        cmocka_unit_test(deep_nesting_does_no_harm),
        cmocka_unit_test(a_batch_may_be_put_off),
        cmocka_unit_test(a_batch_may_be_abandoned),
        cmocka_unit_test(params_out_of_bounds_are_refused),
        cmocka_unit_test(a_spoilt_result_is_an_internal_error),
        cmocka_unit_test(a_batch_beyond_the_limit_is_refused_whole),
        cmocka_unit_test(a_batch_that_grew_too_long_takes_no_more_results),
        cmocka_unit_test(vectors_of_the_specification),
        cmocka_unit_test(defaults_stand_in_for_what_is_not_given),
        cmocka_unit_test(given_values_arrive_by_position_and_by_name),
        cmocka_unit_test(a_batch_waits_for_its_last_call),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
