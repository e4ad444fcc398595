/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How an instrument is talked to: its protocol and serial line. */
#include "profile_priv.h"

#include <string.h>

#define FIELD(name) offsetof(struct profile_owner, profile.protocol.name)

static const char *const framings[] = {
    [FRAMING_488] = "488",
    [FRAMING_LINE] = "line",
    NULL,
};

static const struct strict_key dialogue_keys[] = {
    { .name = "command_terminator",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(command_terminator),
      .size = PROTOCOL_TEXT,
      .help = "ends every command" },
    { .name = "reply_terminator",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(reply_terminator),
      .size = PROTOCOL_TEXT,
      .help = "ends every reply" },
    { .name = "framing",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = FIELD(framing),
      .choices = framings,
      .help = "\"488\": IEEE 488.2, the terminator does not count inside strings and blocks; "
              "\"line\": plain text" },
    { .name = "echo",
      .type = STRICT_BOOL,
      .offset = FIELD(echo),
      .help = "commands come back before their reply; default false" },
    { .name = "prompt",
      .type = STRICT_TEXT,
      .offset = FIELD(prompt),
      .size = PROTOCOL_TEXT,
      .help = "sent after every reply; default none" },
    { .name = "acknowledge",
      .type = STRICT_PATTERN,
      .offset = FIELD(acknowledge),
      .present = FIELD(acknowledges),
      .help = "the answer to commands that ask nothing; left out where there is none" },
    { .name = "refusal",
      .type = STRICT_PATTERN,
      .offset = FIELD(refusal),
      .present = FIELD(has_refusal),
      .help = "a reply that says \"not understood\"" },
    { .name = "reply_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(reply_ms),
      .minimum = 1.0,
      .maximum = 600e3,
      .unit = "ms",
      .help = "longest wait for a reply, conversion time not counted" },
    { .name = "quiet_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(quiet_ms),
      .minimum = 1.0,
      .maximum = 60e3,
      .unit = "ms",
      .help = "silence after which nothing more will come" },
    { .name = "reply_limit",
      .type = STRICT_SIZE,
      .offset = FIELD(reply_limit),
      .minimum = 16,
      .maximum = 512 * 1024 * 1024,
      .unit = "bytes",
      .help = "longest reply; default 65536" },
    { .name = "clear",
      .type = STRICT_TEXT,
      .offset = FIELD(clear),
      .size = PROTOCOL_TEXT,
      .help = "characters that clear the instrument; default none" },
    { .name = "identity_query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(identity_query),
      .size = PROTOCOL_TEXT,
      .help = "asks the instrument who it is" },
    { .name = "identity",
      .type = STRICT_PATTERN,
      .required = true,
      .offset = FIELD(identity),
      .present = offsetof(struct profile_owner, has_identity),
      .help = "what this type of instrument answers" },
    { .name = "error_query",
      .type = STRICT_TEXT,
      .offset = FIELD(error_query),
      .size = PROTOCOL_TEXT,
      .help = "asks for the oldest entry of the error queue; left out where there is none" },
    { .name = "error_none",
      .type = STRICT_PATTERN,
      .offset = FIELD(error_none),
      .present = offsetof(struct profile_owner, has_error_none),
      .help = "the answer of an empty error queue" },
    { .name = "closing_query",
      .type = STRICT_TEXT,
      .offset = FIELD(closing_query),
      .size = PROTOCOL_TEXT,
      .help = "appended to each query for a reading, as in \";*OPC?\"; with {number} in it to "
              "each of our questions, as in \";*ESE {number};*ESE?\"; default none" },
    { .name = "closing_reply",
      .type = STRICT_TEXT,
      .offset = FIELD(closing_reply),
      .size = PROTOCOL_TEXT,
      .help = "what the closing query adds behind the answer, as in \";1\" or \";{number}\"" },
    { .name = "errors_always",
      .type = STRICT_BOOL,
      .offset = offsetof(struct profile_owner, profile.errors_always),
      .help = "read the error queue after each reading too; default false" },
    { .name = NULL },
};

static void check_texts(const struct profile *profile, const config_setting_t *group,
                        struct problems *problems)
{
    const struct protocol *protocol = &profile->protocol;

    if (strict_member(group, "command_terminator") != NULL && !protocol->command_terminator[0])
        problems_at(problems, group, "\"command_terminator\" is empty, expected at least a byte");
    if (strict_member(group, "reply_terminator") != NULL && !protocol->reply_terminator[0])
        problems_at(problems, group, "\"reply_terminator\" is empty, expected at least a byte");
    profile_check_command(profile, group, "identity_query", protocol->identity_query, CONTEXT_BARE,
                          NULL, problems);
    profile_check_command(profile, group, "error_query", protocol->error_query, CONTEXT_BARE, NULL,
                          problems);
    profile_check_anchors(group, "acknowledge", true, problems);
    profile_check_anchors(group, "refusal", false, problems);
    profile_check_anchors(group, "identity", false, problems);
    profile_check_anchors(group, "error_none", false, problems);
}

/* How often the message's number stands in a text. */
static int numbers_in(const char *text)
{
    int count = 0;

    for (const char *at = strstr(text, PROTOCOL_NUMBER); at != NULL;
         at = strstr(at + 1, PROTOCOL_NUMBER))
        count++;
    return count;
}

/* A number that is sent must come back, and one that comes back must have been sent. */
static void check_closing(const struct protocol *protocol, const config_setting_t *group,
                          struct problems *problems)
{
    bool closes = protocol->closing_query[0] != '\0';
    int sent = numbers_in(protocol->closing_query), told = numbers_in(protocol->closing_reply);

    if (closes != (protocol->closing_reply[0] != '\0'))
        profile_missing(group, closes ? "closing_reply" : "closing_query",
                        closes ? "with a closing_query" : "with a closing_reply", problems);
    if (closes && (sent != told || sent > 1))
        problems_at(problems, strict_member(group, "closing_query"),
                    "\"closing_query\" has {number} %d times and \"closing_reply\" %d times, "
                    "expected once in both or in neither",
                    sent, told);
}

void profile_read_dialogue(struct profile_owner *owner, const config_setting_t *root,
                           struct problems *problems)
{
    const config_setting_t *group = strict_member(root, "dialogue");

    if (group == NULL || !config_setting_is_group(group))
        return;
    owner->profile.protocol.reply_limit = 65536;
    strict_group(group, dialogue_keys, owner, problems);
    check_texts(&owner->profile, group, problems);
    bool has_query = strict_member(group, "error_query") != NULL;
    bool has_none = strict_member(group, "error_none") != NULL;
    check_closing(&owner->profile.protocol, group, problems);
    if (has_query != has_none) {
        profile_missing(group, has_query ? "error_none" : "error_query",
                        has_query ? "with an error_query" : "with an error_none", problems);
    }
}

/* A serial line with its framing as it is written. */
struct serial_file {
    struct serial_line line;
    char framing[8];
};

static const char *const flows[] = {
    [FLOW_NONE] = "none",
    [FLOW_RTS_CTS] = "rts/cts",
    [FLOW_XON_XOFF] = "xon/xoff",
    NULL,
};

static const struct strict_key serial_keys[] = {
    { .name = "baud",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct serial_file, line.baud),
      .minimum = 300,
      .maximum = 921600,
      .unit = "baud",
      .help = "speed of the line; default 9600" },
    { .name = "framing",
      .type = STRICT_TEXT,
      .offset = offsetof(struct serial_file, framing),
      .size = sizeof((struct serial_file *)NULL)->framing,
      .help = "data bits, parity, stop bits; default \"8N1\"" },
    { .name = "flow",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct serial_file, line.flow),
      .choices = flows,
      .help = "flow control; default \"none\"" },
    { .name = "dtr",
      .type = STRICT_BOOL,
      .offset = offsetof(struct serial_file, line.dtr),
      .help = "level of DTR while the line is open; default true" },
    { .name = "rts",
      .type = STRICT_BOOL,
      .offset = offsetof(struct serial_file, line.rts),
      .help = "level of RTS while the line is open; default true" },
    { .name = NULL },
};

bool profile_serial(const config_setting_t *group, struct serial_line *line,
                    struct problems *problems)
{
    struct serial_file file = { .line = *line };
    const bool good = strict_group(group, serial_keys, &file, problems);

    if (file.framing[0] != '\0' && !serial_framing_parse(file.framing, &file.line)) {
        problems_at(problems, strict_member(group, "framing"),
                    "\"framing\" is \"%s\", expected 7 or 8, N, E or O, and 1 or 2, as in \"8N1\"",
                    file.framing);
        return false;
    }
    if (good)
        *line = file.line;
    return good;
}

void profile_print_dialogue_keys(FILE *out)
{
    fprintf(out, "dialogue:\n");
    strict_print_keys(out, dialogue_keys);
    fprintf(out, "serial:\n");
    strict_print_keys(out, serial_keys);
}
