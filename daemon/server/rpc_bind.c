/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rpc_bind.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

static size_t parameter_count(const struct rpc_parameter *parameters)
{
    size_t count = 0;
    while (parameters[count].name != NULL)
        count++;
    assert(count <= RPC_MAX_PARAMETERS);
    return count;
}

void rpc_expected(const struct rpc_parameter *parameter, char *text, size_t size)
{
    switch (parameter->type) {
    case RPC_TEXT:
        snprintf(text, size, "a string of 1 to %d bytes", RPC_MAX_TEXT);
        break;
    case RPC_INTEGER:
        snprintf(text, size, "an integer from %.15g to %.15g", parameter->minimum,
                 parameter->maximum);
        break;
    case RPC_NUMBER:
        snprintf(text, size, "a number from %g to %g", parameter->minimum, parameter->maximum);
        break;
    case RPC_BOOL:
        snprintf(text, size, "true or false");
        break;
    case RPC_TEXTS:
        snprintf(text, size, "an array of at least one string");
        break;
    case RPC_OBJECT:
        snprintf(text, size, "an object");
        break;
    }
}

static bool usable_text(const json_t *json)
{
    size_t length = json_string_length(json);
    return json_is_string(json) && length > 0 && length <= RPC_MAX_TEXT;
}

static bool usable_texts(const json_t *json)
{
    for (size_t i = 0; i < json_array_size(json); i++)
        if (!usable_text(json_array_get(json, i)))
            return false;
    return json_array_size(json) > 0;
}

static bool within(const struct rpc_parameter *parameter, double number)
{
    return number >= parameter->minimum && number <= parameter->maximum;
}

/* Takes one argument if it is of the type and within the bounds. */
static bool convert(const struct rpc_parameter *parameter, json_t *json, struct rpc_value *value)
{
    value->given = true;
    switch (parameter->type) {
    case RPC_TEXT:
        value->text = json_string_value(json);
        return usable_text(json);
    case RPC_INTEGER:
        value->integer = json_integer_value(json);
        return json_is_integer(json) && within(parameter, (double)value->integer);
    case RPC_NUMBER:
        value->number = json_number_value(json);
        return json_is_number(json) && within(parameter, value->number);
    case RPC_BOOL:
        value->flag = json_is_true(json);
        return json_is_boolean(json);
    case RPC_TEXTS:
        value->texts = json;
        return usable_texts(json);
    case RPC_OBJECT:
        value->object = json;
        return json_is_object(json);
    }
    return false;
}

static void fall_back(const struct rpc_parameter *parameter, struct rpc_value *value)
{
    *value = (struct rpc_value) { .number = parameter->fallback };
    if (parameter->type == RPC_INTEGER)
        value->integer = (int64_t)parameter->fallback;
}

static bool bind_one(const struct rpc_parameter *parameter, json_t *json, struct rpc_value *value,
                     struct rpc_mistake *mistake)
{
    bool absent = json == NULL || (json_is_null(json) && !parameter->required);
    if (absent && !parameter->required) {
        fall_back(parameter, value);
        return true;
    }
    if (!absent && convert(parameter, json, value))
        return true;
    snprintf(mistake->what, sizeof mistake->what, "%s is %s", parameter->name,
             absent ? "missing" : "not usable");
    rpc_expected(parameter, mistake->expected, sizeof mistake->expected);
    return false;
}

/* Lists the names of all parameters in `expected`. */
static void say_names(const struct rpc_parameter *parameters, struct rpc_mistake *mistake)
{
    size_t length = 0;
    size_t size = sizeof mistake->expected;
    mistake->expected[0] = '\0';
    for (; parameters->name != NULL && length < size; parameters++)
        length += (size_t)snprintf(mistake->expected + length, size - length, "%s%s",
                                   length > 0 ? ", " : "", parameters->name);
    if (length == 0)
        snprintf(mistake->expected, size, "no parameters");
}

static bool is_parameter(const struct rpc_parameter *parameters, const char *name)
{
    for (; parameters->name != NULL; parameters++)
        if (strcmp(parameters->name, name) == 0)
            return true;
    return false;
}

/* Refuses arguments that no parameter is there for. */
static bool all_known(const struct rpc_parameter *parameters, json_t *params,
                      struct rpc_mistake *mistake)
{
    const char *name;
    json_t *value;
    json_object_foreach(params, name, value)
    {
        if (is_parameter(parameters, name))
            continue;
        snprintf(mistake->what, sizeof mistake->what, "there is no parameter %.100s", name);
        say_names(parameters, mistake);
        return false;
    }
    if (json_array_size(params) <= parameter_count(parameters))
        return true;
    snprintf(mistake->what, sizeof mistake->what, "%zu parameters were given",
             json_array_size(params));
    say_names(parameters, mistake);
    return false;
}

bool rpc_bind(const struct rpc_parameter *parameters, json_t *params, struct rpc_value *values,
              struct rpc_mistake *mistake)
{
    if (!all_known(parameters, params, mistake))
        return false;
    for (size_t i = 0; i < parameter_count(parameters); i++) {
        json_t *json = json_is_array(params) ? json_array_get(params, i)
                                             : json_object_get(params, parameters[i].name);
        if (!bind_one(&parameters[i], json, &values[i], mistake))
            return false;
    }
    return true;
}
