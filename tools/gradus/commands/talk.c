/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <stdlib.h>
#include <string.h>

/*
 * The reply as text. A NUL in it, which would end a text early, becomes the
 * four characters of its escape. Free with free().
 */
static char *reply_text(const json_t *reply)
{
    const char *const bytes = json_string_value(reply);
    const size_t count = json_string_length(reply);
    char *const text = memory_zeroed(count * 4 + 1, 1);
    char *end = text;
    for (size_t i = 0; i < count; i++)
        if (bytes[i] == '\0')
            end = stpcpy(end, "\\x00");
        else
            *end++ = bytes[i];
    return text;
}

static int show(const struct session *session, json_t *result)
{
    const json_t *const reply = field_at(result, "reply");
    if (!json_is_string(reply))
        return STATUS_PASS;
    char *const text = reply_text(reply);
    if (session->options->csv) {
        fputs("reply\r\n", stdout);
        csv_field(stdout, text);
        fputs("\r\n", stdout);
    } else {
        terminal_put(session->terminal, stdout, text);
        fputc('\n', stdout);
    }
    free(text);
    return STATUS_PASS;
}

static int run_talk(const struct session *session)
{
    const char *const instrument = session->operands[0];
    const double deadline = session->options->deadline_ms;
    json_t *const params = json_pack("{s:s, s:s, s:o}", "instrument", instrument, "command",
                                     session->operands[1], "deadline_ms", ask_number(deadline));
    return ask(session, instrument, "talk", params, deadline, show);
}

const struct command command_talk = {
    .name = "talk",
    .arguments = "INSTRUMENT COMMAND",
    .summary = "send an instrument raw text and show its reply",
    .usage = "For administrators, and only where server.talk is on in the daemon's settings. The\n"
             "text goes to the instrument as it stands: whatever it sets is set. The daemon sets\n"
             "the instrument up afresh before its next reading.\n",
    .options = OPTION_DEADLINE,
    .least = 2,
    .most = 2,
    .run = run_talk,
};
