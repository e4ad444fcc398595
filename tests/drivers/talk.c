/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "talk.h"

#include "drivers/dialogue/response.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

enum { REPLY_LIMIT = 200000 };

static const char *const queries[] = { "READ?", "LOOK", "LOOK", "LOOK" };

static void pattern(regex_t *regex, const char *text)
{
    assert_int_equal(regcomp(regex, text, REG_EXTENDED), 0);
}

struct protocol talk_protocol(enum variant variant)
{
    struct protocol protocol = { .command_terminator = "\n",
                                 .reply_terminator = "\n",
                                 .framing = FRAMING_488,
                                 .reply_ms = 5000,
                                 .quiet_ms = 5,
                                 .reply_limit = REPLY_LIMIT,
                                 .identity_query = "*IDN?",
                                 .error_query = ":SYST:ERR?" };

    pattern(&protocol.error_none, "^[+]?0,\"No error\"$");
    pattern(&protocol.refusal, "^[?]$");
    pattern(&protocol.acknowledge, "^OK$");
    if (variant == PLAIN) {
        pattern(&protocol.identity, "^TARNWERK,BENCH METER,");
        return protocol;
    }
    pattern(&protocol.identity, "^OLDMERE BENCH METER");
    strcpy(protocol.command_terminator, "\r");
    strcpy(protocol.reply_terminator, "\r\n");
    strcpy(protocol.identity_query, "WHO");
    protocol.framing = FRAMING_LINE;
    protocol.has_refusal = true;
    protocol.error_query[0] = '\0';
    protocol.echo = variant == ECHO;
    if (variant == PROMPT)
        strcpy(protocol.prompt, "> ");
    return protocol;
}

void talk_protocol_free(struct protocol *protocol)
{
    regfree(&protocol->identity);
    regfree(&protocol->error_none);
    regfree(&protocol->refusal);
    regfree(&protocol->acknowledge);
}

void talk_add(struct talk *talk, const struct step *steps, size_t most)
{
    for (size_t i = 0; i < most && steps[i].kind != STEP_END; i++) {
        assert_true(talk->count + 1 < TALK_STEPS);
        talk->steps[talk->count++] = steps[i];
    }
}

void talk_start(struct talk *talk, enum variant variant)
{
    struct link_spec spec;

    talk->protocol = talk_protocol(variant);
    talk->peer = peer_start(talk->steps);
    assert_non_null(talk->peer);
    assert_true(link_spec_parse(peer_link(talk->peer), NULL, &spec, NULL));
    talk->dialogue = dialogue_new(&talk->protocol, &spec, "meter_a");
    assert_non_null(talk->dialogue);
}

void talk_end(struct talk *talk)
{
    dialogue_free(talk->dialogue);
    assert_string_equal(peer_finish(talk->peer), "");
    talk_protocol_free(&talk->protocol);
}

void talk_ready(struct talk *talk)
{
    struct failure failure;
    char text[512];

    failure_clear(&failure);
    if (!dialogue_ready(talk->dialogue, deadline_in(TALK_PLENTY_MS), &failure))
        fail_msg("not ready: %s", failure_text(&failure, text, sizeof text));
    assert_true(dialogue_in_step(talk->dialogue));
}

void talk_not_ready(struct talk *talk, double deadline_ms, enum failure_code code)
{
    struct failure failure;

    failure_clear(&failure);
    assert_false(dialogue_ready(talk->dialogue, deadline_in(deadline_ms), &failure));
    assert_string_equal(failure_reason(failure.code), failure_reason(code));
    assert_string_not_equal(failure.where, "");
    assert_false(dialogue_in_step(talk->dialogue));
}

bool talk_read_488(const struct reply *reply, void *out, struct failure *failure)
{
    enum number_special special;

    return response_number(reply->bytes, reply->count, out, &special, failure);
}

/* "STEADY VOLTS +05.013", each character in its place. */
bool talk_read_line(const struct reply *reply, void *out, struct failure *failure)
{
    if (reply->count == 20 && strncmp(reply->bytes, "STEADY VOLTS ", 13) == 0 &&
        strchr("+-", reply->bytes[13]) && decimal_parse(reply->bytes + 13, 7, out))
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a reading", "'%s'", reply->bytes);
}

bool talk_ask(struct talk *talk, enum variant variant, double deadline_ms, double *value,
              struct failure *failure)
{
    failure_clear(failure);
    return dialogue_query(talk->dialogue, queries[variant], 0,
                          variant == PLAIN ? talk_read_488 : talk_read_line, value,
                          deadline_in(deadline_ms), failure);
}

void talk_answered(struct talk *talk, enum variant variant, double wanted)
{
    struct failure failure;
    double value = 0;
    char text[512];

    if (!talk_ask(talk, variant, TALK_PLENTY_MS, &value, &failure))
        fail_msg("no answer: %s", failure_text(&failure, text, sizeof text));
    assert_true(value == wanted);
    assert_true(dialogue_in_step(talk->dialogue));
}

void talk_not_answered(struct talk *talk, enum variant variant, double deadline_ms,
                       enum failure_code code)
{
    struct failure failure;
    double value = 77;

    assert_false(talk_ask(talk, variant, deadline_ms, &value, &failure));
    assert_string_equal(failure_reason(failure.code), failure_reason(code));
    assert_non_null(strstr(failure.where, "meter_a: "));
    assert_true(value == 77);
}

bool talk_command(struct talk *talk, const char *text, enum failure_code code)
{
    struct failure failure;
    bool done;

    failure_clear(&failure);
    done = dialogue_command(talk->dialogue, text, deadline_in(TALK_PLENTY_MS), &failure);
    assert_string_equal(failure_reason(failure.code), failure_reason(code));
    return done;
}
