/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "outcome.h"

#include "tools/gradus/basics/status.h"

int outcome_show(const struct session *session, const json_t *result, const struct outcome *outcome)
{
    struct fault fault;
    if (!outcome->whole(result, &fault)) {
        fault_explain(&fault, session->operands[0], session->terminal);
        return fault.status;
    }
    if (session->options->csv) {
        csv_header(stdout, outcome->columns);
        csv_record(stdout, outcome->columns, result);
    } else if (!session->options->json) {
        outcome->print(session, result);
    }
    return outcome->status != NULL ? outcome->status(result) : STATUS_PASS;
}

int outcome_ask(const struct session *session, const char *method, json_t *params, ask_show *show)
{
    const double deadline = session->options->deadline_ms;
    json_object_set_new(params, "deadline_ms", ask_number(deadline));
    return ask_judged(session, session->operands[0], method, params, deadline, show);
}
