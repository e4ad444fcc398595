/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/server/rpc_bind.h"
#include "methods.h"
#include "service.h"

static void encode_parameter(struct text *text, const struct rpc_parameter *parameter)
{
    char expected[160];
    rpc_expected(parameter, expected, sizeof expected);
    text_open(text, '{');
    text_member_string(text, "name", parameter->name);
    text_member_bool(text, "required", parameter->required);
    if (parameter->fallback != 0)
        text_member_number(text, "default", parameter->fallback);
    text_member_string(text, "expected", expected);
    text_member_string(text, "help", parameter->help);
    text_close(text, '}');
}

static void encode_method(struct text *text, const struct rpc_method *method)
{
    text_open(text, '{');
    text_member_string(text, "method", method->name);
    text_member_string(text, "role", role_word(method->role));
    text_member_string(text, "help", method->help);
    text_member_string(text, "result", method->result);
    text_member_open(text, "parameters", '[');
    for (const struct rpc_parameter *each = method->parameters; each->name != NULL; each++)
        encode_parameter(text, each);
    text_close(text, ']');
    text_close(text, '}');
}

void call_methods(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct text *text = loop_text(service->loop);
    (void)values;
    text_open(text, '[');
    for (const struct rpc_method *method = methods_table(); method->name != NULL; method++)
        encode_method(text, method);
    text_close(text, ']');
    rpc_result(call, text);
}
