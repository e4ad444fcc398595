/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "methods_page.h"

#include "daemon/server/rpc_bind.h"
#include "methods.h"

static void print_parameter(FILE *out, const struct rpc_parameter *parameter)
{
    char expected[160];
    rpc_expected(parameter, expected, sizeof expected);
    fprintf(out, "- `%s`%s: %s; %s", parameter->name,
            parameter->required ? "" : " (may be left out)", parameter->help, expected);
    if (parameter->fallback != 0)
        fprintf(out, ", else %g", parameter->fallback);
    fputc('\n', out);
}

void methods_print(FILE *out)
{
    for (const struct rpc_method *method = methods_table(); method->name != NULL; method++) {
        fprintf(out, "\n**`%s`** %s\n\n", method->name, method->help);
        fprintf(out, "- role: %s\n", role_word(method->role));
        for (const struct rpc_parameter *each = method->parameters; each->name != NULL; each++)
            print_parameter(out, each);
        fprintf(out, "- answers: %s\n", method->result);
    }
}
