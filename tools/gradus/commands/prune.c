/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <string.h>

/* What waits, out of what health says. */
static int show_waiting(const struct session *session, json_t *result)
{
    const json_t *const waiting = field_at(result, "store.waiting");
    if (!json_is_object(waiting)) {
        terminal_print(session->terminal, stdout, "Nothing waits to be removed.\n");
        return STATUS_PASS;
    }
    const char *const before = field_text_or_empty(waiting, "before");
    const bool clock = strcmp(field_text_or_empty(waiting, "for"), "clock") == 0;
    terminal_print(session->terminal, stdout,
                   "%.0f rows from before %s are past their time and wait %s.\n"
                   "They go for good with:  gradus prune %s\n",
                   field_number(waiting, "rows"), before,
                   clock ? "until a time server keeps the clock right"
                         : "for an administrator, as they are a large share of all",
                   before);
    return STATUS_PASS;
}

static int show_allowed(const struct session *session, json_t *result)
{
    (void)result;
    terminal_print(session->terminal, stdout, "Readings from before %s are being removed.\n",
                   session->operands[0]);
    return STATUS_PASS;
}

static int run_prune(const struct session *session)
{
    if (session->operand_count == 0)
        return ask(session, NULL, "health", json_object(), ASK_PLAIN_MS, show_waiting);
    return ask(session, NULL, "prune", json_pack("{s:s}", "before", session->operands[0]),
               ASK_PLAIN_MS, show_allowed);
}

const struct command command_prune = {
    .name = "prune",
    .arguments = "[BEFORE]",
    .summary = "let go of readings past their time that wait for it",
    .usage =
        "Readings past store.retention_days are removed by themselves, but not while nothing says\n"
        "that the clock is right, nor when at a start, or after the clock was set, they are more\n"
        "than store.ask_percent of all. Shows what waits then. With a moment, as it is shown "
        "(UTC),\n"
        "what was taken before it is removed for good; for administrators, and put on record.\n",
    .least = 0,
    .most = 1,
    .run = run_prune,
};
