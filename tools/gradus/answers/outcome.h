/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What work at a point comes to that is no reading: a zero, a check, an
 * agreement. How it is asked for and shown is the same for all.
 */
#ifndef GRADUS_TOOLS_OUTCOME_H
#define GRADUS_TOOLS_OUTCOME_H

#include "ask.h"
#include "csv.h"

/* What one of them is. */
struct outcome {
    /* Whether all is there that is shown; else false with the fault set. */
    bool (*whole)(const json_t *result, struct fault *fault);
    const struct csv_column *columns;
    void (*print)(const struct session *session, const json_t *result); /* to a person */
    int (*status)(const json_t *result); /* NULL: STATUS_PASS, when it is whole */
};

/*
 * Shows a result as the options say; where JSON was asked for it was printed
 * already. Returns the exit status.
 */
int outcome_show(const struct session *session, const json_t *result,
                 const struct outcome *outcome);

/*
 * Calls a method within the deadline of the options, which is put into
 * `params`, and has the result shown. Messages are about the first operand.
 * `params` is taken over. Returns the exit status.
 */
int outcome_ask(const struct session *session, const char *method, json_t *params, ask_show *show);

#endif
